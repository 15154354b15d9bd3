"""Maximise Firth's penalised partial likelihood, all coefficients or some of them held.

The penalty is half the log determinant of the information. Its derivative in a coefficient j is
half the sum over deaths of E[(x_j - m_j) (x - m)' V (x - m)], a third moment in the death's risk
set, with m the mean of the terms there and V the inverse information.
"""

from dataclasses import dataclass

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
from analysis.kernels.firth import PenalisedTop

LARGEST_STEP = 2.0  # in standard deviations of a term


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    penalised: float
    gradient: FloatArray
    information: FloatArray


def maximise_penalised_cox(
    data: CoxData,
    weights: FloatArray | None,
    *,
    ties: Ties,
    start: FloatArray,
    free: BoolArray,
    tolerance: float = 1e-9,
    max_steps: int = 200,
) -> PenalisedTop:
    """Climb by Newton's method with the plain information and step halving.

    Held coefficients stay at `start`, shape (p,), in the units of ``data.x``; the penalty is that
    of all terms. `weights` has shape (m, 1), all above zero.
    """
    beta = start.copy()
    here = _point(data, weights, beta, ties)
    for step in range(1, max_steps + 1):
        move = np.zeros_like(beta)
        move[free] = np.linalg.solve(here.information[np.ix_(free, free)], here.gradient[free])
        largest = float(np.abs(move).max(initial=0.0))
        move *= min(1.0, LARGEST_STEP / max(largest, LARGEST_STEP))
        following = _point(data, weights, beta + move, ties)
        halvings = 0
        while not following.penalised >= here.penalised - 1e-10 and halvings < 30:
            move, halvings = move / 2, halvings + 1
            following = _point(data, weights, beta + move, ties)
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


def _point(data: CoxData, weights: FloatArray | None, beta: FloatArray, ties: Ties) -> _Point:
    with np.errstate(over="ignore", invalid="ignore"):
        sums = risk_sums(data, beta[:, None], weights, ties)
        second = information(data, sums)[0]
    try:
        lower = np.linalg.cholesky(second)
    except np.linalg.LinAlgError:
        return _Point(-np.inf, np.zeros_like(beta), second)
    penalty = float(np.log(np.diag(lower)).sum())
    pull = _penalty_gradient(data, sums, np.linalg.inv(second), ties)
    return _Point(
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
