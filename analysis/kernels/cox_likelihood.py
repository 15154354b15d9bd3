"""Partial likelihood of the Cox model for a batch of weight vectors: sums over risk sets.

Ties follow Efron (Breslow as the special case of one term a slot). With d deaths of mean weight w
in a slot, the l-th of them sees the risk set S0 - (l/d) S0d, S0d being the risk of the deaths.
The second moment of the terms is never cumulated: summed over slots it is X' diag(v) X.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from scipy.sparse import csr_array

from analysis.arrays import BoolArray, FloatArray, IntArray
from analysis.kernels.cox_data import CoxData

Ties = Literal["efron", "breslow"]
LOST_DIGITS = 1e-10  # what late entry may leave of a risk sum before it is summed anew
GRAM_ROWS = 16_384


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiskSums:
    """Sums over the risk sets at given coefficients; K slots, B weight vectors, p terms.

    `hazard` and the others are sums over the deaths l of a slot, with f = l/d and den the risk
    set that death sees: hazard w/den, hazard_tied f w/den, and square_0, _1, _2 of w/den^2
    times 1, f, f^2. Centring of the risks per stratum is in `shift`.
    """

    relative: FloatArray  # (m, B) relative hazard
    risk: FloatArray  # (m, B) weight times relative hazard
    shift: FloatArray  # (strata, B) largest linear predictor of each stratum
    s0: FloatArray  # (K, B)
    s1: FloatArray  # (K, B, p)
    s1_deaths: FloatArray  # (K, B, p), zero without ties
    thin: IntArray  # slots of which late entry took most digits
    death_weight: FloatArray  # (K, B) weight of the deaths
    hazard: FloatArray
    hazard_tied: FloatArray
    square_0: FloatArray
    square_1: FloatArray
    square_2: FloatArray
    log_likelihood: FloatArray  # (B,)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Partial:
    """Risk sums before the ties are dealt with."""

    relative: FloatArray
    risk: FloatArray
    shift: FloatArray
    s0: FloatArray
    s1: FloatArray
    thin: IntArray
    death_weights: FloatArray  # (d, B)
    event_eta: FloatArray  # (d, B)


def risk_sums(
    data: CoxData, beta: FloatArray, weights: FloatArray | None, ties: Ties = "efron"
) -> RiskSums:
    """Sum the risk sets at `beta`, shape (p, B), in the units of ``data.x``; weights (m, B)."""
    eta = data.x @ beta
    row_bounds = data.row_start[data.slot_bounds[:-1]]
    shift = np.maximum.reduceat(eta, row_bounds, axis=0)
    eta -= np.repeat(shift, np.diff(np.append(row_bounds, len(eta))), axis=0)
    event_eta = eta[data.deaths]
    relative = np.exp(eta)
    risk = relative if weights is None else relative * weights
    s0, thin = _totals(data, risk)
    s1 = risk_set_moments(data, risk, data.x, thin=thin)
    death_weights = np.ones_like(event_eta) if weights is None else weights[data.deaths]
    partial = _Partial(relative=relative, risk=risk, shift=shift, s0=s0, s1=s1,
                       thin=thin, death_weights=death_weights, event_eta=event_eta)  # fmt: skip
    return _ties(data, partial, ties)


def gradient(
    data: CoxData, sums: RiskSums, weights: FloatArray | None, multiplier: FloatArray | None = None
) -> FloatArray:
    """First derivative, shape (p, B); each slot counted `multiplier` (K,) times."""
    factor = np.ones(len(data.slot_day)) if multiplier is None else multiplier
    event_x = data.x[data.deaths] * factor[data.death_slot, None]
    if weights is None:
        seen = np.repeat(event_x.sum(axis=0)[:, None], sums.s0.shape[1], axis=1)
    else:
        seen = event_x.T @ weights[data.deaths]
    return seen - data.x.T @ _row_weights(data, sums, factor)


def information(data: CoxData, sums: RiskSums, multiplier: FloatArray | None = None) -> FloatArray:
    """Minus the second derivative, shape (B, p, p); each slot counted `multiplier` (K,) times."""
    factor = np.ones(len(data.slot_day)) if multiplier is None else multiplier
    first = _grams(data.x, _row_weights(data, sums, factor))
    weight = factor[:, None, None]
    pull = sums.square_0[:, :, None] * sums.s1 * weight
    s1 = sums.s1.transpose(1, 2, 0)
    if data.tied:
        pull -= sums.square_1[:, :, None] * sums.s1_deaths * weight
        back = sums.square_2[:, :, None] * sums.s1_deaths - sums.square_1[:, :, None] * sums.s1
        tied = np.matmul(sums.s1_deaths.transpose(1, 2, 0), (back * weight).transpose(1, 0, 2))
        first -= tied
    first -= np.matmul(s1, pull.transpose(1, 0, 2))
    return (first + first.transpose(0, 2, 1)) / 2


def reverse_sums(data: CoxData, values: FloatArray) -> FloatArray:
    """Sum each slot with the later ones of its stratum (never a total minus a part)."""
    out = np.empty_like(values)
    for low, high in pairwise(data.slot_bounds):
        np.cumsum(values[low:high][::-1], axis=0, out=out[low:high][::-1])
    return out


def sums_while_at_risk(data: CoxData, values: FloatArray) -> FloatArray:
    """Sum slot values, shape (K, ...), over the slots at which each row is at risk: (m, ...)."""
    running = np.empty_like(values)
    for low, high in pairwise(data.slot_bounds):
        np.cumsum(values[low:high], axis=0, out=running[low:high])
    counts = np.diff(np.append(data.row_start, len(data.stop)))
    out = np.repeat(running, counts, axis=0)
    if len(data.late):
        out[data.late] -= running[data.first[data.late] - 1]
    return out


def _row_weights(data: CoxData, sums: RiskSums, factor: FloatArray) -> FloatArray:
    """Weight of each row in the expected terms, (m, B): risk times cumulated hazard."""
    out = sums_while_at_risk(data, sums.hazard * factor[:, None])
    if data.tied:
        out[data.deaths] -= (sums.hazard_tied * factor[:, None])[data.death_slot]
    out *= sums.risk
    return out


def _ties(data: CoxData, sums: _Partial, ties: Ties) -> RiskSums:
    """Let each death of a slot see its risk set; a death of weight zero counts for none."""
    start, slot, s0, weight = data.death_start, data.death_slot, sums.s0, sums.death_weights
    total = np.add.reduceat(weight, start, axis=0)
    s1_deaths = np.zeros_like(sums.s1)
    if ties == "efron" and data.tied:
        count = np.add.reduceat((weight > 0).astype(np.float64), start, axis=0)
        mean = total / np.maximum(count, 1.0)
        own = sums.risk[data.deaths]
        share = data.death_rank[:, None] / np.maximum(count, 1.0)[slot]
        active = data.death_rank[:, None] < count[slot]
        s1_deaths = _tied_moments(data, own)
        each, seen = mean[slot], s0[slot] - share * np.add.reduceat(own, start, axis=0)[slot]
    else:
        start = np.arange(len(s0))
        share, active, each, seen = np.zeros_like(s0), total > 0, total, s0
    inverse = np.divide(1.0, seen, out=np.zeros_like(seen), where=active)
    log_seen = np.log(seen, out=np.zeros_like(seen), where=active)
    hazard = each * inverse
    square = hazard * inverse
    parts = (hazard, share * hazard, square, share * square, share * share * square)
    grouped = [np.add.reduceat(part, start, axis=0) for part in parts]
    return RiskSums(
        relative=sums.relative, risk=sums.risk, shift=sums.shift, s0=s0, s1=sums.s1,
        s1_deaths=s1_deaths, thin=sums.thin, death_weight=total,
        hazard=grouped[0], hazard_tied=grouped[1],
        square_0=grouped[2], square_1=grouped[3], square_2=grouped[4],
        log_likelihood=(weight * sums.event_eta).sum(axis=0)
        - (np.where(active, each, 0.0) * log_seen).sum(axis=0),
    )  # fmt: skip


def _tied_moments(data: CoxData, own: FloatArray) -> FloatArray:
    """Sum risk times terms over the deaths of each slot, shape (K, B, p)."""
    moments = own[:, :, None] * data.x[data.deaths][:, None, :]
    return np.add.reduceat(moments, data.death_start, axis=0)


def _slot_moments(risk: FloatArray, x: FloatArray, start: IntArray) -> FloatArray:
    """Sum risk times terms over the consecutive rows of each slot, shape (K, B, p)."""
    bounds = np.append(start, len(x))
    if risk.shape[1] == 1:
        indicator = csr_array((risk[:, 0], np.arange(len(x)), bounds), shape=(len(start), len(x)))
        return np.asarray(indicator @ x)[:, None, :]
    out = np.zeros((len(start), risk.shape[1], x.shape[1]))
    places = bounds.tolist()
    for slot, (low, high) in enumerate(pairwise(places)):
        if high > low:
            np.matmul(risk[low:high].T, x[low:high], out=out[slot])
    return out


def _totals(data: CoxData, risk: FloatArray) -> tuple[FloatArray, IntArray]:
    """Sum the risk of each risk set, (K, B); name the slots where late entry took most digits."""
    total = reverse_sums(data, np.add.reduceat(risk, data.row_start, axis=0))
    if not len(data.late):
        return total, np.empty(0, np.int64)
    ones = np.ones((len(data.late), 1))
    absent = reverse_sums(data, _slot_moments(risk[data.late], ones, data.late_start))[:, :, 0]
    left = total - absent
    thin = np.flatnonzero((left < LOST_DIGITS * absent).any(axis=1))
    for slot in thin.tolist():
        left[slot] = risk[_present(data, slot)].sum(axis=0)
    return left, thin


def risk_set_moments(
    data: CoxData, risk: FloatArray, columns: FloatArray, *, thin: IntArray
) -> FloatArray:
    """Sum risk times columns, shape (m, q), over each risk set: (K, B, q).

    Slots in `thin` are summed anew, not by taking out the rows that enter later.
    """
    total = reverse_sums(data, _slot_moments(risk, columns, data.row_start))
    if len(data.late):
        later = _slot_moments(risk[data.late], columns[data.late], data.late_start)
        total -= reverse_sums(data, later)
    for slot in thin.tolist():
        present = _present(data, slot)
        total[slot] = risk[present].T @ columns[present]
    return total


def _present(data: CoxData, slot: int) -> BoolArray:
    return (data.first <= slot) & (data.stop > slot)


def _grams(x: FloatArray, row_weights: FloatArray) -> FloatArray:
    """X' diag(v) X for each column v of `row_weights`, shape (B, p, p)."""
    rows, terms = x.shape
    out = np.zeros((row_weights.shape[1], terms, terms))
    for low in range(0, rows, GRAM_ROWS):
        block, weight = x[low : low + GRAM_ROWS], row_weights[low : low + GRAM_ROWS]
        if weight.shape[1] == 1:
            out[0] += (block * weight).T @ block
        else:
            pairs = (block[:, :, None] * block[:, None, :]).reshape(len(block), terms * terms)
            out += (weight.T @ pairs).reshape(out.shape)
    return out
