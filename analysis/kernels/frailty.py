"""Shared gamma frailty at one value of its variance: the penalised partial likelihood's top.

With a gamma frailty of mean 1 and variance 1/nu for each cluster, the partial likelihood of terms
and log frailties, less nu times the sum of (frailty - log frailty), has its top where the marginal
likelihood, the baseline hazard maximised too, has its own for that nu; so do its curvatures.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import digamma, gammaln, polygamma

from analysis.arrays import FloatArray, IntArray
from analysis.kernels.cox_data import CoxData
from analysis.kernels.cox_likelihood import (
    RiskSums,
    Ties,
    expected_weights,
    gradient,
    risk_sums,
)
from analysis.kernels.cox_slots import on_all_slots, reverse_sums

MOST_STEPS = 60
STEP_TOLERANCE = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrailtyRows:
    """Rows of a Cox model with the number of each row's cluster, 0 to q - 1."""

    data: CoxData
    codes: IntArray  # (m,)
    events: FloatArray  # (q,)
    ties: Ties


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrailtyPoint:
    """The top at one variance; p terms (in the units of ``data.x``) and q log frailties."""

    variance: float
    at: FloatArray  # (p + q,)
    log_likelihood: float  # marginal; that of the plain Cox model where the variance is nil
    slope: float  # of the marginal log likelihood over nu
    information: FloatArray  # (p + q, p + q), penalised
    converged: bool


def frailty_rows(data: CoxData, codes: IntArray, ties: Ties) -> FrailtyRows:
    """Give numbers to the clusters at risk at one event at least; `codes` (n,) as in the input."""
    _, here = np.unique(codes[data.rows], return_inverse=True)
    events = np.bincount(here[data.deaths], minlength=int(here.max(initial=-1)) + 1)
    return FrailtyRows(data=data, codes=here, events=events.astype(np.float64), ties=ties)


def frailty_point(rows: FrailtyRows, variance: float, start: FloatArray) -> FrailtyPoint:
    """Climb from `start`, shape (p + q,), by Newton's method with halved steps."""
    nu, terms = 1 / variance, rows.data.x.shape[1]
    origin = at = start
    best, share, step = -np.inf, 1.0, np.zeros_like(start)
    information, converged = np.eye(len(start)), False
    for _ in range(MOST_STEPS):
        sums = _sums(rows, at)
        height = float(sums.log_likelihood[0]) + nu * _penalty(at[terms:])
        if not height >= best - 1e-10 * abs(best):
            share /= 2
            at = origin + share * step
            continue
        origin, best, share = at, height, 1.0
        first, information = _derivatives(rows, sums, at, nu)
        step = cho_solve(cho_factor(information), first)
        if float(np.abs(step).max()) <= STEP_TOLERANCE:
            converged = True
            break
        at = origin + step
    return _point(rows, origin, information, nu, converged=converged, penalised=best)


def _sums(rows: FrailtyRows, at: FloatArray) -> RiskSums:
    terms = rows.data.x.shape[1]
    beta, log_frailty = at[:terms, None], at[terms:]
    return risk_sums(rows.data, beta, None, rows.ties, offset=log_frailty[rows.codes][:, None])


def _penalty(log_frailty: FloatArray) -> float:
    """Less than nil but for frailties of 1, where it is nil."""
    return float(np.sum(log_frailty - np.expm1(log_frailty)))


def _derivatives(
    rows: FrailtyRows, sums: RiskSums, at: FloatArray, nu: float
) -> tuple[FloatArray, FloatArray]:
    """Gradient and information of the penalised likelihood over terms and log frailties."""
    data, terms = rows.data, rows.data.x.shape[1]
    weight = expected_weights(data, sums)
    frailty, clusters = np.exp(at[terms:]), len(rows.events)
    expected = np.bincount(rows.codes, weight[:, 0], minlength=clusters)
    first = np.concatenate((
        gradient(data, sums, None, row_weights=weight)[:, 0],
        rows.events - expected + nu * (1 - frailty),
    ))  # fmt: skip
    weighted = weight * data.x
    second = np.zeros((len(at), len(at)))
    second[:terms, :terms] = data.x.T @ weighted
    for place in range(terms):
        second[place, terms:] = np.bincount(rows.codes, weighted[:, place], minlength=clusters)
    second[terms:, :terms] = second[:terms, terms:].T
    clusters_at = np.arange(terms, len(at))
    second[clusters_at, clusters_at] = expected + nu * frailty
    return first, second - _means(rows, sums)


def _means(rows: FrailtyRows, sums: RiskSums) -> FloatArray:
    """Sum over deaths of the outer products of the risk set's means, (p + q, p + q)."""
    data = rows.data
    whole = np.concatenate((sums.s1[:, 0], _by_cluster(rows, sums)), axis=1)
    tied = on_all_slots(data, sums.s1_deaths)[:, 0]
    own = np.zeros((len(whole), len(rows.events)))
    later = np.isin(data.death_slot, data.ties.slots)
    places = (data.death_slot[later], rows.codes[data.deaths[later]])
    np.add.at(own, places, sums.risk[data.deaths[later], 0])
    deaths = np.concatenate((tied, own), axis=1)
    pull = sums.square_0 * whole - sums.square_1 * deaths
    back = sums.square_2 * deaths - sums.square_1 * whole
    return whole.T @ pull + deaths.T @ back


def _by_cluster(rows: FrailtyRows, sums: RiskSums) -> FloatArray:
    """Sum the risk of each cluster's rows over each risk set, (K, q)."""
    data, clusters = rows.data, len(rows.events)
    shape, risk = (len(data.slot_day), clusters), sums.risk[:, 0]

    def spread(slot: IntArray, chosen: IntArray | slice) -> FloatArray:
        cells = slot * clusters + rows.codes[chosen]
        summed = np.bincount(cells, risk[chosen], minlength=shape[0] * clusters)
        return summed.astype(np.float64).reshape(shape)

    total = reverse_sums(data, spread(data.stop - 1, slice(None)))
    if len(data.late):
        total -= reverse_sums(data, spread(data.first[data.late] - 1, data.late))
    for slot in sums.thin.tolist():
        present = (data.first <= slot) & (data.stop > slot)
        total[slot] = np.bincount(rows.codes[present], risk[present], minlength=clusters)
    return total


def _point(
    rows: FrailtyRows,
    at: FloatArray,
    information: FloatArray,
    nu: float,
    *,
    converged: bool,
    penalised: float,
) -> FrailtyPoint:
    """Add what the frailties, integrated out, bring to the height, and its slope over nu."""
    events, seen = rows.events, nu + rows.events
    height = gammaln(seen) - gammaln(nu) + nu * np.log(nu) - seen * np.log(seen) + events
    slope = digamma(seen) - digamma(nu) - np.log1p(events / nu)
    return FrailtyPoint(
        variance=1 / nu, at=at, log_likelihood=penalised + float(height.sum()),
        slope=float(slope.sum()) + _penalty(at[rows.data.x.shape[1] :]),
        information=information, converged=converged,
    )  # fmt: skip


def marginal_curvature(
    rows: FrailtyRows, point: FrailtyPoint
) -> tuple[FloatArray, FloatArray, float]:
    """Give how terms and their inverse information lie at a top, and how sharp it is over nu.

    Returns
    -------
    inverse, drift, bend
        The covariance of the terms at this variance, (p, p); the derivative of the terms over nu,
        (p,); the second derivative of the marginal log likelihood over nu.
    """
    terms, nu = rows.data.x.shape[1], 1 / point.variance
    pull = np.concatenate((np.zeros(terms), -np.expm1(point.at[terms:])))
    sides = np.column_stack((np.eye(len(pull))[:, :terms], pull))
    solved = cho_solve(cho_factor(point.information), sides)
    seen = nu + rows.events
    bend = polygamma(1, seen) - polygamma(1, nu) + 1 / nu - 1 / seen
    drift = solved[:, -1]
    return solved[:terms, :terms], drift[:terms], float(bend.sum() + pull @ drift)
