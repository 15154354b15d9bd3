"""Partial likelihood of the Cox model for a batch of weight vectors: sums over risk sets.

Ties follow Efron (Breslow as the special case of one term a slot). With d deaths of mean weight w
in a slot, the l-th of them sees the risk set S0 - (l/d) S0d, S0d being the risk of the deaths.
The second moment of the terms is never cumulated: summed over slots it is X' diag(v) X.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray
from analysis.kernels.cox_data import CoxData
from analysis.kernels.cox_slots import risk_set_totals, sums_while_at_risk

Ties = Literal["efron", "breslow"]
GRAM_ROWS = 16_384


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiskSums:
    """Sums over the risk sets at given coefficients; K slots, B weight vectors, p terms.

    `hazard` and the others are sums over the deaths l of a slot, with f = l/d and den the risk
    set that death sees: hazard w/den, hazard_tied f w/den, and square_0, _1, _2 of w/den^2
    times 1, f, f^2. Risks are relative to the largest of their stratum, exp(`shift`).
    """

    relative: FloatArray  # (m, B) relative hazard
    risk: FloatArray  # (m, B) weight times relative hazard
    shift: FloatArray  # (strata, B) largest linear predictor of each stratum
    s0: FloatArray  # (K, B)
    s1: FloatArray  # (K, B, p)
    s1_deaths: FloatArray  # (tied slots, B, p)
    thin: IntArray  # slots of which late entry took most digits
    death_weight: FloatArray  # (K, B) weight of the deaths
    hazard: FloatArray  # (K, B)
    hazard_tied: FloatArray  # (K, B)
    square_0: FloatArray  # (K, B)
    square_1: FloatArray  # (K, B)
    square_2: FloatArray  # (K, B)
    log_likelihood: FloatArray  # (B,)


def risk_sums(
    data: CoxData,
    beta: FloatArray,
    weights: FloatArray | None,
    ties: Ties = "efron",
    *,
    offset: FloatArray | None = None,
) -> RiskSums:
    """Sum the risk sets at `beta`, shape (p, B), in the units of ``data.x``; weights (m, B).

    `offset`, shape (m, 1) or (m, B), is added to the linear predictor.
    """
    eta = data.x @ beta
    if offset is not None:
        eta += offset
    row_bounds = data.row_start[data.slot_bounds[:-1]]
    shift = np.maximum.reduceat(eta, row_bounds, axis=0)
    if len(row_bounds) == 1:
        eta -= shift
    else:
        eta -= np.repeat(shift, np.diff(np.append(row_bounds, len(eta))), axis=0)
    event_eta = eta[data.deaths]
    relative = np.exp(eta, out=eta)
    risk = relative if weights is None else relative * weights
    totals, thin = risk_set_totals(data, risk)
    weight = np.ones_like(event_eta) if weights is None else weights[data.deaths]
    sums, fallen = _over_deaths(data, totals, risk, weight, efron=ties == "efron" and data.tied)
    return RiskSums(
        relative=relative, risk=risk, shift=shift, s0=totals[:, :, 0], s1=totals[:, :, 1:],
        s1_deaths=sums[6][:, :, 1:], thin=thin, death_weight=sums[0], hazard=sums[1],
        hazard_tied=sums[2], square_0=sums[3], square_1=sums[4], square_2=sums[5],
        log_likelihood=np.einsum("db,db->b", weight, event_eta) - fallen,
    )  # fmt: skip


def gradient(
    data: CoxData,
    sums: RiskSums,
    weights: FloatArray | None,
    multiplier: FloatArray | None = None,
    *,
    row_weights: FloatArray | None = None,
) -> FloatArray:
    """First derivative, shape (p, B); each slot counted `multiplier` (K,) times.

    `row_weights` are the ``expected_weights``, where they are known already.
    """
    event_x = data.x_of_deaths()
    if multiplier is not None:
        event_x = event_x * multiplier[data.death_slot, None]
    if weights is None:
        seen = np.repeat(event_x.sum(axis=0)[:, None], sums.s0.shape[1], axis=1)
    else:
        seen = event_x.T @ weights[data.deaths]
    if row_weights is None:
        row_weights = expected_weights(data, sums, multiplier)
    return seen - data.x.T @ row_weights


def information(
    data: CoxData,
    sums: RiskSums,
    multiplier: FloatArray | None = None,
    *,
    row_weights: FloatArray | None = None,
    pairs: FloatArray | None = None,
) -> FloatArray:
    """Minus the second derivative, shape (B, p, p); each slot counted `multiplier` (K,) times.

    `row_weights` are the ``expected_weights``, where they are known already; `pairs` are the
    products that ``pairs_of_terms`` makes, for loops over many weight vectors.
    """
    if row_weights is None:
        row_weights = expected_weights(data, sums, multiplier)
    if pairs is None:
        first = _grams(data.x, row_weights)
    else:
        first = _unpacked(row_weights.T @ pairs, data.x.shape[1])
    factor = 1.0 if multiplier is None else multiplier[:, None]
    pull = (sums.square_0 * factor)[:, :, None] * sums.s1
    if len(sums.s1_deaths):
        slots = data.ties.slots
        factor = 1.0 if multiplier is None else multiplier[slots, None]
        once, twice = (sums.square_1[slots] * factor)[:, :, None], sums.square_2[slots] * factor
        pull[slots] -= once * sums.s1_deaths
        back = twice[:, :, None] * sums.s1_deaths - once * sums.s1[slots]
        first -= _crossed(sums.s1_deaths, back)
    first -= _crossed(sums.s1, pull)
    return (first + first.transpose(0, 2, 1)) / 2


def pairs_of_terms(data: CoxData) -> FloatArray:
    """Products of every two terms of each row, shape (m, p (p + 1) / 2)."""
    first, second = np.triu_indices(data.x.shape[1])
    return data.x[:, first] * data.x[:, second]


def expected_weights(
    data: CoxData, sums: RiskSums, multiplier: FloatArray | None = None
) -> FloatArray:
    """Weight of each row in the expected terms, (m, B): risk times cumulated hazard."""
    factor = 1.0 if multiplier is None else multiplier[:, None]
    out = sums_while_at_risk(data, sums.hazard * factor)
    if data.tied:
        out[data.deaths] -= (sums.hazard_tied * factor)[data.death_slot]
    out *= sums.risk
    return out


def _over_deaths(
    data: CoxData, totals: FloatArray, risk: FloatArray, weight: FloatArray, *, efron: bool
) -> tuple[list[FloatArray], FloatArray]:
    """Let each death of a slot see its risk set; a death of weight zero counts for none.

    Gives death_weight, hazard, hazard_tied, square_0, _1, _2 (K, B), the moments of the tied
    deaths, and the sum of weighted logs of what the deaths see (B,).
    """
    s0 = totals[:, :, 0]
    total = np.add.reduceat(weight, data.death_start, axis=0)
    count = total
    if efron:
        count = np.add.reduceat(weight > 0, data.death_start, axis=0, dtype=np.float64)
    each = total / np.maximum(count, 1.0) if efron else total
    inverse, logs = _inverse_and_log(s0, total > 0)
    fallen = np.einsum("kb,kb->b", each, logs)
    hazard = each * inverse
    square = hazard * inverse
    nil = np.zeros_like(hazard)
    sums = [total, hazard, nil, square, nil.copy(), nil.copy(), np.empty((0, *totals.shape[1:]))]
    if efron:
        fallen = fallen + _later_deaths(data, sums, (s0, each, count), risk)
    return sums, fallen


def _later_deaths(
    data: CoxData,
    sums: list[FloatArray],
    first: tuple[FloatArray, FloatArray, FloatArray],
    risk: FloatArray,
) -> FloatArray:
    """Add the second and later deaths of tied slots to `sums`; give their weighted logs, (B,)."""
    ties, (s0, each, count) = data.ties, first
    own = data.deaths[ties.deaths]
    moments = risk[own][:, :, None] * data.design[own][:, None, :]
    moments = np.add.reduceat(moments, ties.start, axis=0)
    slot, rank = data.death_slot[ties.later], data.death_rank[ties.later][:, None]
    share = rank / np.maximum(count[slot], 1.0)
    seen = s0[slot] - share * moments[ties.later_place, :, 0]
    there = rank < count[slot]
    inverse, logs = _inverse_and_log(seen, there)
    hazard = np.where(there, each[slot], 0.0) * inverse
    square = hazard * inverse
    parts = (hazard, share * hazard, square, share * square, share * share * square)
    for place, part in enumerate(parts, start=1):
        sums[place][ties.slots] += np.add.reduceat(part, ties.later_start, axis=0)
    sums[6] = moments
    return np.einsum("kb,kb->b", np.where(there, each[slot], 0.0), logs)


def _inverse_and_log(seen: FloatArray, there: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Invert and take logs of the risk that deaths see, where there is a death.

    A step so wild that a death sees no risk at all (an underflow) has an infinite log, so that its
    likelihood is minus infinity and the step is taken back.
    """
    possible = there & (seen > 0)
    inverse = np.divide(1.0, seen, out=np.zeros_like(seen), where=possible)
    logs = np.log(seen, out=np.zeros_like(seen), where=possible)
    logs[there & ~possible] = np.inf
    return inverse, logs


def _grams(x: FloatArray, row_weights: FloatArray) -> FloatArray:
    """X' diag(v) X for each column v of `row_weights`, shape (B, p, p)."""
    out = np.zeros((row_weights.shape[1], x.shape[1], x.shape[1]))
    for low in range(0, len(x), GRAM_ROWS):
        block, weight = x[low : low + GRAM_ROWS], row_weights[low : low + GRAM_ROWS]
        for place in range(weight.shape[1]):
            out[place] += (block * weight[:, place, None]).T @ block
    return out


def _unpacked(upper: FloatArray, terms: int) -> FloatArray:
    """Make symmetric matrices, (B, p, p), of their upper triangles, (B, p (p + 1) / 2)."""
    first, second = np.triu_indices(terms)
    out = np.empty((len(upper), terms, terms))
    out[:, first, second] = upper
    out[:, second, first] = upper
    return out


def _crossed(left: FloatArray, right: FloatArray) -> FloatArray:
    """Sum over slots of the outer products of two arrays (K, B, p): (B, p, p)."""
    return np.matmul(left.transpose(1, 2, 0), right.transpose(1, 0, 2))
