"""Maximise Firth's penalised logistic likelihood, all coefficients or some of them held."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray
from analysis.kernels.logistic import fitted_risks

LARGEST_STEP = 5.0  # in units of a standardised variable


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PenalisedTop:
    """Where the penalised likelihood is highest over the free coefficients."""

    coefficients: FloatArray  # (p,)
    log_likelihood: float  # penalised
    gradient: FloatArray  # (p,), penalised score; nil for the free coefficients
    information: FloatArray  # (p, p), not penalised
    steps: int
    converged: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    penalised: float
    gradient: FloatArray
    information: FloatArray


def maximise_penalised(
    z: FloatArray,
    y: FloatArray,
    weights: FloatArray,
    *,
    start: FloatArray,
    free: BoolArray,
    tolerance: float = 1e-9,
    max_steps: int = 200,
) -> PenalisedTop:
    """Climb l + log det(information) / 2 by Fisher scoring with step halving.

    Held coefficients stay at `start`; the penalty is that of the whole design `z`, shape (n, p),
    whose columns are of unit spread.
    """
    beta = start.copy()
    here = _point(z, y, weights, beta)
    for step in range(1, max_steps + 1):
        move = np.zeros_like(beta)
        move[free] = np.linalg.solve(here.information[np.ix_(free, free)], here.gradient[free])
        largest = np.abs(move).max(initial=0.0)
        move *= min(1.0, LARGEST_STEP / max(largest, LARGEST_STEP))
        following = _point(z, y, weights, beta + move)
        halvings = 0
        while not following.penalised >= here.penalised - 1e-10 and halvings < 30:
            move, halvings = move / 2, halvings + 1
            following = _point(z, y, weights, beta + move)
        beta, here = beta + move, following
        if largest < tolerance:
            return _top(beta, here, step, converged=True)
        if not np.isfinite(here.penalised):
            break
    return _top(beta, here, max_steps, converged=False)


def _top(beta: FloatArray, point: _Point, steps: int, *, converged: bool) -> PenalisedTop:
    return PenalisedTop(
        coefficients=beta,
        log_likelihood=point.penalised,
        gradient=point.gradient,
        information=point.information,
        steps=steps,
        converged=converged,
    )


def _point(z: FloatArray, y: FloatArray, weights: FloatArray, beta: FloatArray) -> _Point:
    eta = z @ beta
    softplus = np.maximum(eta, 0.0) + np.log1p(np.exp(-np.abs(eta)))
    log_likelihood = float(weights @ (y * eta - softplus))
    mu = fitted_risks(eta)
    half_weighted = z * np.sqrt(weights * mu * (1 - mu))[:, None]
    information = half_weighted.T @ half_weighted
    try:
        lower = np.linalg.cholesky(information)
    except np.linalg.LinAlgError:
        return _Point(-np.inf, np.zeros_like(beta), information)
    # not solve_triangular: on a busy machine its threads take 50 times as long at this size
    hat = ((half_weighted @ np.linalg.inv(lower).T) ** 2).sum(axis=1)
    gradient = z.T @ (weights * (y - mu) + hat * (0.5 - mu))
    penalty = float(np.log(np.diag(lower)).sum())
    return _Point(log_likelihood + penalty, gradient, information)
