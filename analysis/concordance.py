"""Harrell's concordance: whether the row that fails first is the one with the higher risk."""

import numpy as np

from analysis.arrays import FloatArray, IntArray
from analysis.cox_rows import CoxRows


def harrell_concordance(rows: CoxRows, linear: FloatArray) -> float:
    """Share of usable pairs in which the row that fails first has the larger linear predictor.

    A pair is usable if one row has its event while the other is still at risk, in the same
    stratum; two events on one day are no pair. Equal predictors count one half. Pairs are not
    weighted. R: ``survival::concordance`` without weights. NaN where there is no pair.

    References
    ----------
    .. [1] Harrell FE, Lee KL, Mark DB. Stat Med 1996;15:361-387.
    """
    _, score = np.unique(linear, return_inverse=True)
    lower = equal = pairs = 0.0
    strata = np.zeros(len(linear), np.int64) if rows.strata is None else rows.strata
    for stratum in range(int(strata.max(initial=-1)) + 1):
        chosen = np.flatnonzero(strata == stratum)
        found = _pairs(rows, score[chosen], chosen)
        lower, equal, pairs = lower + found[0], equal + found[1], pairs + found[2]
    return (lower + equal / 2) / pairs if pairs else float("nan")


def _pairs(rows: CoxRows, score: IntArray, chosen: IntArray) -> tuple[float, float, float]:
    """Count pairs of one stratum: other row with a lower score, an equal one, all."""
    time, event = rows.time[chosen], rows.event[chosen] == 1
    if not event.any():
        return 0.0, 0.0, 0.0
    # At risk after the events of a day: those who leave later, and those censored on the day.
    outlast = np.lexsort((event, -time))
    cases = np.flatnonzero(event)
    before = np.searchsorted(-time[outlast], -time[cases], side="left")
    censored = np.searchsorted(np.sort(time[~event]), time[cases], side="right") - np.searchsorted(
        np.sort(time[~event]), time[cases], side="left"
    )
    reach = before + censored
    counts = _counts(score[outlast], reach, score[cases])
    if rows.entry is not None:
        entry = rows.entry[chosen]
        latest = np.argsort(-entry, kind="stable")
        absent = np.searchsorted(-entry[latest], -time[cases], side="right")
        counts -= _counts(score[latest], absent, score[cases])
    lower, equal, total = counts.sum(axis=1)
    return float(lower), float(equal), float(total)


def _counts(score: IntArray, reach: IntArray, asked: IntArray) -> FloatArray:
    """Among the first `reach` scores: lower than, equal to `asked`, and all; shape (3, queries)."""
    below = _count_below(score, reach, asked)
    to_equal = _count_below(score, reach, asked + 1)
    return np.array([below, to_equal - below, reach], dtype=np.float64)


def _count_below(score: IntArray, reach: IntArray, bound: IntArray) -> IntArray:
    """Count, for each query, the first `reach` values that are below `bound` (wavelet tree)."""
    bits = max(int(score.max(initial=0) + 1).bit_length(), int(bound.max(initial=0)).bit_length())
    values, left, low = score, np.zeros_like(reach), reach.copy()
    high, found = left.copy(), np.zeros_like(reach)
    for bit in reversed(range(bits)):
        zero = (values >> bit) & 1 == 0
        zeros_before = np.concatenate(([0], np.cumsum(zero)))
        total = zeros_before[-1]
        start, stop = zeros_before[high], zeros_before[low]
        ones = (bound >> bit) & 1 == 1
        found += np.where(ones, stop - start, 0)
        high = np.where(ones, total + high - start, start)
        low = np.where(ones, total + low - stop, stop)
        values = np.concatenate((values[zero], values[~zero]))
    return found
