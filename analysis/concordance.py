"""Concordance of a Cox model: whether the row that fails first is the one with the higher risk."""

import numpy as np

from analysis.arrays import FloatArray, IntArray
from analysis.cox_rows import CoxRows
from analysis.kernels.risk_table import risk_table


def harrell_concordance(rows: CoxRows, linear: FloatArray) -> float:
    """Share of usable pairs in which the row that fails first has the larger linear predictor.

    A pair is usable if one row has its event while the other is still at risk, in the same
    stratum; two events on one day are no pair. Equal predictors count one half. Pairs are not
    weighted. R: ``survival::concordance`` without weights. NaN where there is no pair.

    References
    ----------
    .. [1] Harrell FE, Lee KL, Mark DB. Stat Med 1996;15:361-387.
    """
    return _concordance(rows, linear, last_day=None, by_censoring=False)


def uno_concordance(rows: CoxRows, linear: FloatArray, *, last_day: float | None = None) -> float:
    """Concordance that does not hang on how long rows were followed: Uno's [1]_.

    Pairs as in ``harrell_concordance``, each weighted by 1 / G(t-)^2, where G is the Kaplan-Meier
    share not yet censored in the stratum and t the day of the event that makes the pair. Events
    of a day come before its censoring. `last_day` leaves out events after it: late pairs rest on
    few rows and weigh much. R: ``survival::concordance(timewt = "n/G2", ymax = last_day)``.

    Raises
    ------
    ValueError
        If rows enter late: who was censored before entry is not known, so that G is not.

    References
    ----------
    .. [1] Uno H, Cai T, Pencina MJ, D'Agostino RB, Wei LJ. Stat Med 2011;30:1105-1117.
    """
    if rows.entry is not None:
        raise ValueError("Uno's concordance takes no late entry")
    return _concordance(rows, linear, last_day=last_day, by_censoring=True)


def _concordance(
    rows: CoxRows, linear: FloatArray, *, last_day: float | None, by_censoring: bool
) -> float:
    _, score = np.unique(linear, return_inverse=True)
    total = np.zeros(3)
    strata = np.zeros(len(linear), np.int64) if rows.strata is None else rows.strata
    for stratum in range(int(strata.max(initial=-1)) + 1):
        chosen = np.flatnonzero(strata == stratum)
        time, event = rows.time[chosen], rows.event[chosen]
        cases = np.flatnonzero(event == 1)
        if last_day is not None:
            cases = cases[time[cases] <= last_day]
        if len(cases):
            weight = _weights(time, event, time[cases]) if by_censoring else np.ones(len(cases))
            total += _pairs(rows, score[chosen], chosen, cases) @ weight
    lower, equal, pairs = total.tolist()
    return (lower + equal / 2) / pairs if pairs else float("nan")


def _weights(time: FloatArray, event: FloatArray, asked: FloatArray) -> FloatArray:
    """Give 1 / G(t-)^2 of each day asked for; whoever has the event on a day is not lost on it."""
    table = risk_table(time, event.astype(np.int8), n_states=1)
    censored, events = table.leaving[:, 0, 0], table.leaving[:, 0, 1]
    waiting = table.at_risk[:, 0] - events
    share = np.divide(censored, waiting, out=np.zeros_like(censored), where=waiting > 0)
    before = np.concatenate(([1.0], np.cumprod(1 - share)))
    return before[np.searchsorted(table.day, asked, side="left")] ** -2.0


def _pairs(rows: CoxRows, score: IntArray, chosen: IntArray, cases: IntArray) -> FloatArray:
    """Count the pairs of each case of a stratum: other row lower, equal, all; shape (3, cases)."""
    time, event = rows.time[chosen], rows.event[chosen] == 1
    # At risk after the events of a day: those who leave later, and those censored on the day.
    outlast = np.lexsort((event, -time))
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
    return counts


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
