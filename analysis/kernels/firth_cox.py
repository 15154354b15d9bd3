"""Maximise Firth's penalised partial likelihood, all coefficients or some of them held.

The penalty is half the log determinant of the information. Its derivative in a coefficient j is
half the sum over deaths of E[(x_j - m_j) (x - m)' V (x - m)], a third moment in the death's risk
set, with m the mean of the terms there and V the inverse information.
"""

import numpy as np

from analysis.arrays import BoolArray, FloatArray
from analysis.kernels.cox_data import CoxData
from analysis.kernels.cox_likelihood import (
    RiskSums,
    Ties,
    gradient,
    information,
    risk_sums,
)
from analysis.kernels.cox_slots import risk_set_moments
from analysis.kernels.penalised import PenalisedPoint, PenalisedTop, climb

LARGEST_STEP = 2.0  # in standard deviations of a term


def maximise_penalised_cox(
    data: CoxData,
    weights: FloatArray | None,
    *,
    ties: Ties,
    start: FloatArray,
    free: BoolArray,
) -> PenalisedTop:
    """Climb by Newton's method with the plain information and step halving.

    Held coefficients stay at `start`, shape (p,), in the units of ``data.x``; the penalty is that
    of all terms. `weights` has shape (m, 1), all above zero.
    """
    return climb(
        lambda beta: _point(data, weights, beta, ties),
        start=start,
        free=free,
        largest_step=LARGEST_STEP,
    )


def _point(
    data: CoxData, weights: FloatArray | None, beta: FloatArray, ties: Ties
) -> PenalisedPoint:
    with np.errstate(over="ignore", invalid="ignore"):
        sums = risk_sums(data, beta[:, None], weights, ties)
        second = information(data, sums)[0]
    try:
        lower = np.linalg.cholesky(second)
    except np.linalg.LinAlgError:
        return PenalisedPoint(-np.inf, np.zeros_like(beta), second)
    penalty = float(np.log(np.diag(lower)).sum())
    pull = _penalty_gradient(data, sums, np.linalg.inv(second), ties)
    return PenalisedPoint(
        float(sums.log_likelihood[0]) + penalty, gradient(data, sums, weights)[:, 0] + pull, second
    )


def _penalty_gradient(data: CoxData, sums: RiskSums, inverse: FloatArray, ties: Ties) -> FloatArray:
    """Half the trace of the inverse information times its derivative in each coefficient."""
    x, terms = data.x, data.x.shape[1]
    length = np.einsum("ij,jk,ik->i", x, inverse, x)[:, None]
    squares = (x[:, :, None] * x[:, None, :]).reshape(len(x), terms * terms)
    columns = np.hstack((np.ones((len(x), 1)), x, squares, length, length * x))
    moments = risk_set_moments(data, sums.risk, columns, thin=sums.thin)[:, 0]
    seen, weight = moments, sums.death_weight[:, 0]
    if ties == "efron" and data.tied:
        own = sums.risk[data.deaths] * columns[data.deaths]
        tied = np.add.reduceat(own, data.death_start, axis=0)
        count = np.bincount(data.death_slot)
        slot = data.death_slot
        seen = moments[slot] - (data.death_rank / count[slot])[:, None] * tied[slot]
        weight = (weight / count)[slot]
    mean = seen / seen[:, :1]
    first, second, size, product = np.split(
        mean[:, 1:], (terms, terms + terms * terms, terms + terms * terms + 1), axis=1
    )
    variance = second.reshape(-1, terms, terms) - first[:, :, None] * first[:, None, :]
    skew = product - first * size - 2 * np.einsum("kij,kj->ki", variance, first @ inverse)
    return weight @ skew / 2
