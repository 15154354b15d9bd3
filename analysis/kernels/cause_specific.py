"""Cumulative incidence that two cause-specific hazards imply for a set of rows.

Hazards are constant in steps at days of a grid. Within a step the rows that leave are split by
the two hazards, so that incidences and event-free share add up to 1 (the matrix exponential of a
step, as R's ``survfit`` of a multi-state Cox model).
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hazards:
    """Steps of the baseline hazards on a common grid of T days, by stratum: shapes (G, T)."""

    event: FloatArray
    competing: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowIncidence:
    """Of n rows at T days: event-free share before and after each day, incidence by the day."""

    before: FloatArray  # (n, T)
    after: FloatArray  # (n, T)
    incidence: FloatArray  # (n, T)
    event_step: FloatArray  # (n, T) hazard of the event at the day
    competing_step: FloatArray  # (n, T)


def row_incidence(
    hazards: Hazards, event_risk: FloatArray, competing_risk: FloatArray, stratum: IntArray
) -> RowIncidence:
    """Predict each row from its relative hazards, shape (n,), and the number of its stratum."""
    u = event_risk[:, None] * hazards.event[stratum]
    v = competing_risk[:, None] * hazards.competing[stratum]
    step = u + v
    after = np.exp(-np.cumsum(step, axis=1))
    before = np.hstack((np.ones((len(after), 1)), after[:, :-1]))
    share = np.divide(u, step, out=np.zeros_like(u), where=step > 0)
    return RowIncidence(
        before=before, after=after, incidence=np.cumsum(before * -np.expm1(-step) * share, axis=1),
        event_step=u, competing_step=v,
    )  # fmt: skip


def mean_incidence(
    hazards: Hazards,
    event_risk: FloatArray,
    competing_risk: FloatArray,
    *,
    weights: FloatArray,
    places: IntArray,
) -> FloatArray:
    """Weighted mean incidence by the grid days in `places` (-1: before the first), one stratum.

    The loop of a bootstrap: the event-free share is averaged first, and split by row only on
    days on which both hazards step.
    """
    event, competing = hazards.event[0], hazards.competing[0]
    cumulative = np.cumsum(np.vstack((event, competing)), axis=1)
    free = np.exp(-np.column_stack((event_risk, competing_risk)) @ cumulative)
    total = weights.sum()
    mean = np.concatenate(([1.0], weights @ free / total))
    leaving = np.where(event > 0, -np.diff(mean), 0.0)
    for day in np.flatnonzero((event > 0) & (competing > 0)):
        before = free[:, day - 1] if day else np.ones(len(free))
        u, v = event_risk * event[day], competing_risk * competing[day]
        leaving[day] = weights @ ((before - free[:, day]) * (u / (u + v))) / total
    return np.concatenate(([0.0], np.cumsum(leaving)))[places + 1]


def event_derivative(rows: RowIncidence, day: int) -> FloatArray:
    """Differentiate each row's incidence by grid day `day` in its own event hazard: (n, T)."""
    u, v = rows.event_step, rows.competing_step
    step = np.where(u + v > 0, u + v, 1.0)
    at_once = np.exp(-step) * u / step - np.expm1(-step) * v / step**2
    return _derivative(rows, at_once, day)


def competing_derivative(rows: RowIncidence, day: int) -> FloatArray:
    """Differentiate each row's incidence by grid day `day` in its competing hazard: (n, T)."""
    u, v = rows.event_step, rows.competing_step
    step = np.where(u + v > 0, u + v, 1.0)
    at_once = np.exp(-step) * u / step + np.expm1(-step) * u / step**2
    return _derivative(rows, at_once, day)


def _derivative(rows: RowIncidence, at_once: FloatArray, day: int) -> FloatArray:
    """Effect on the day itself, less what that takes from later days up to `day`."""
    later = rows.incidence[:, day : day + 1] - rows.incidence
    out = rows.before * at_once - later
    out[:, day + 1 :] = 0.0
    return out
