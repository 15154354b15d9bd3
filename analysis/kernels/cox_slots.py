"""Sums over the risk sets of slots, and over the slots at which a row is at risk.

A risk set is summed from the rows that leave last backwards, never as a total minus a part; only
rows that enter late are taken out again, and where that costs the digits the slot is summed anew.
"""

from itertools import pairwise

import numpy as np
from scipy.sparse import csr_array

from analysis.arrays import FloatArray, IntArray
from analysis.kernels.cox_data import CoxData

LOST_DIGITS = 1e-10  # what late entry may leave of a risk sum before it is summed anew


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


def on_all_slots(data: CoxData, tied: FloatArray) -> FloatArray:
    """Put values of the tied slots, shape (tied slots, ...), among all K; nil elsewhere."""
    out = np.zeros((len(data.slot_day), *tied.shape[1:]))
    if len(tied):
        out[data.ties.slots] = tied
    return out


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
        present = (data.first <= slot) & (data.stop > slot)
        total[slot] = risk[present].T @ columns[present]
    return total


def risk_set_totals(data: CoxData, risk: FloatArray) -> tuple[FloatArray, IntArray]:
    """Sum risk and risk times terms, (K, B, 1 + p); name the slots that had to be summed anew.

    Those are slots of which late entry takes most digits.
    """
    none = np.empty(0, np.int64)
    total = risk_set_moments(data, risk, data.design, thin=none)
    if not len(data.late):
        return total, none
    whole = reverse_sums(data, np.add.reduceat(risk, data.row_start, axis=0))
    thin = np.flatnonzero((total[:, :, 0] < LOST_DIGITS * whole).any(axis=1))
    return (risk_set_moments(data, risk, data.design, thin=thin) if len(thin) else total), thin


def _slot_moments(risk: FloatArray, columns: FloatArray, start: IntArray) -> FloatArray:
    """Sum risk times columns over the consecutive rows of each slot, shape (K, B, q)."""
    bounds = np.append(start, len(columns))
    if risk.shape[1] == 1:
        shape = (len(start), len(columns))
        indicator = csr_array((risk[:, 0], np.arange(len(columns)), bounds), shape=shape)
        return np.asarray(indicator @ columns)[:, None, :]
    out = np.zeros((len(start), risk.shape[1], columns.shape[1]))
    places = bounds.tolist()
    for slot, (low, high) in enumerate(pairwise(places)):
        if high > low:
            np.matmul(risk[low:high].T, columns[low:high], out=out[slot])
    return out
