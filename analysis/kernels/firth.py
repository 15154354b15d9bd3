"""Maximise Firth's penalised logistic likelihood, all coefficients or some of them held."""

import numpy as np

from analysis.arrays import BoolArray, FloatArray
from analysis.kernels.logistic import fitted_risks
from analysis.kernels.penalised import PenalisedPoint, PenalisedTop, climb

LARGEST_STEP = 5.0  # in units of a standardised variable


def maximise_penalised(
    z: FloatArray, y: FloatArray, weights: FloatArray, *, start: FloatArray, free: BoolArray
) -> PenalisedTop:
    """Climb l + log det(information) / 2 by Fisher scoring with step halving.

    Held coefficients stay at `start`; the penalty is that of the whole design `z`, shape (n, p),
    whose columns are of unit spread.
    """
    return climb(
        lambda beta: _point(z, y, weights, beta), start=start, free=free, largest_step=LARGEST_STEP
    )


def _point(z: FloatArray, y: FloatArray, weights: FloatArray, beta: FloatArray) -> PenalisedPoint:
    eta = z @ beta
    softplus = np.maximum(eta, 0.0) + np.log1p(np.exp(-np.abs(eta)))
    log_likelihood = float(weights @ (y * eta - softplus))
    mu = fitted_risks(eta)
    half_weighted = z * np.sqrt(weights * mu * (1 - mu))[:, None]
    information = half_weighted.T @ half_weighted
    try:
        lower = np.linalg.cholesky(information)
    except np.linalg.LinAlgError:
        return PenalisedPoint(-np.inf, np.zeros_like(beta), information)
    # not solve_triangular: on a busy machine its threads take 50 times as long at this size
    hat = ((half_weighted @ np.linalg.inv(lower).T) ** 2).sum(axis=1)
    gradient = z.T @ (weights * (y - mu) + hat * (0.5 - mu))
    penalty = float(np.log(np.diag(lower)).sum())
    return PenalisedPoint(log_likelihood + penalty, gradient, information)
