"""Mean cumulative count of an event that can come again, with errors by cluster."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, labelled
from analysis.chi_square import normal_quantile
from analysis.incidence import checked_states
from analysis.kernels.mean_count import Counted, Stretches, count_by_day
from analysis.survival import checked_times


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeanCountAt:
    """Mean count by one day; NaN with the concern where nobody was followed to it."""

    day: float
    estimate: float
    std_error: float
    low: float
    high: float
    n_at_risk: int  # still followed just before that day
    n_events: int  # by that day
    labels: npt.NDArray[Any]  # of the clusters, (C,)
    influence: FloatArray  # (C,)
    concerns: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeanCount:
    """Mean count at each day on which a stretch ends, shape (K,), and at the days asked for.

    Limits are NaN before the first event.
    """

    day: FloatArray
    estimate: FloatArray
    std_error: FloatArray
    low: FloatArray
    high: FloatArray
    n_at_risk: FloatArray
    n_events: FloatArray
    n_terminal: FloatArray
    n_censored: FloatArray  # stretches that end otherwise
    at: tuple[MeanCountAt, ...]
    clusters: int
    confidence: float


def mean_cumulative_count(
    time: npt.ArrayLike,
    state: npt.ArrayLike,
    *,
    entry: npt.ArrayLike,
    cluster: npt.ArrayLike,
    days: Sequence[float] = (),
    confidence: float = 0.95,
) -> MeanCount:
    """Estimate the mean number of events by day, from rows in counting form.

    Parameters
    ----------
    time, entry
        A row is at risk after `entry` up to and on `time`, shape (n,); rows of one subject follow
        each other and do not overlap.
    state
        How the stretch ends: 0 censored, or followed by the next stretch without an event; 1 the
        event; 2 and on what ends the counting, such as death. Without a 2 death is censoring.
    cluster
        Label of each row's cluster, one subject's rows in one cluster; they are summed before
        they are squared, so that the events of a subject need not be independent.
    days
        Days at which the count is read.
    confidence
        Of the limits, on the log scale.

    Returns
    -------
    MeanCount
        Without terminal states the sum of events over those at risk [1]_ [2]_: the count of a
        subject that goes on being followed. With them, that sum weighted by the Kaplan-Meier
        share free of the terminal states just before the day [3]_: the mean count of all
        subjects, who count no more when they have died.

    Raises
    ------
    ValueError
        If a value is missing, an entry is not before its time, a state is no whole number from 0,
        or there is no row.

    Notes
    -----
    R: ``survfit(Surv(entry, time, event) ~ 1, id = id)``, cumhaz and std.chaz.

    References
    ----------
    .. [1] Nelson W. J Qual Technol 1988;20:24-35.
    .. [2] Lawless JF, Nadeau C. Technometrics 1995;37:158-168.
    .. [3] Ghosh D, Lin DY. Biometrics 2000;56:554-562.
    """
    leave, start = checked_times(time, entry)
    states = checked_states(state, rows=len(leave))
    codes, labels = labelled(cluster, rows=len(leave))
    rows = Stretches(
        entry=leave if start is None else start, time=leave, event=states == 1,
        terminal=states > 1, cluster=codes,
    )  # fmt: skip
    asked = np.array(sorted(days), np.float64)
    found = count_by_day(rows, asked)
    low, high = _limits(found.estimate, found.std_error, confidence)
    read = tuple(
        _read(found, day, found.influence[place], labels, confidence)
        for place, day in enumerate(asked.tolist())
    )
    return MeanCount(
        day=found.day, estimate=found.estimate, std_error=found.std_error, low=low, high=high,
        n_at_risk=found.n_at_risk, n_events=found.n_events, n_terminal=found.n_terminal,
        n_censored=found.n_ending - found.n_events - found.n_terminal, at=read,
        clusters=len(labels), confidence=confidence,
    )  # fmt: skip


def _read(
    found: Counted, day: float, influence: FloatArray, labels: npt.NDArray[Any], confidence: float
) -> MeanCountAt:
    place = int(np.searchsorted(found.day, day, side="right"))
    estimate = float(found.estimate[place - 1]) if place else 0.0
    error = float(np.sqrt(influence @ influence))
    n_events = int(found.n_events[:place].sum())
    concerns = () if n_events else ("no_events",)
    if day > found.day[-1] and found.n_terminal[-1] < found.n_at_risk[-1]:
        estimate = error = float("nan")
        concerns = ("beyond_follow_up",)
    low, high = _limits(np.array([estimate]), np.array([error]), confidence)
    later = np.searchsorted(found.day, day, side="left")
    at_risk = int(found.n_at_risk[later]) if later < len(found.day) else 0
    return MeanCountAt(
        day=day, estimate=estimate, std_error=error, low=float(low[0]), high=float(high[0]),
        n_at_risk=at_risk, n_events=n_events, labels=labels, influence=influence,
        concerns=concerns,
    )  # fmt: skip


def _limits(
    estimate: FloatArray, error: FloatArray, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Limits on the log scale; NaN where there was no event."""
    some = estimate > 0
    relative = np.divide(error, estimate, out=np.full_like(error, np.nan), where=some)
    factor = np.exp(normal_quantile(confidence) * relative)
    return estimate / factor, estimate * factor
