"""Counts by day: who leaves how, and who is still there. All product-limit methods read these."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, IntArray

LARGEST_DAY_TABLE = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiskTable:
    """One line per day on which somebody leaves; K days, G groups, states 0 (censored) to S.

    Weighted where weights were given. Those at risk on a day have entered before it and not left
    before it.
    """

    day: FloatArray  # (K,)
    leaving: FloatArray  # (K, G, S + 1)
    at_risk: FloatArray  # (K, G)


def risk_table(
    time: FloatArray,
    state: npt.NDArray[np.integer[Any]],
    *,
    n_states: int,
    entry: FloatArray | None = None,
    weights: FloatArray | None = None,
    group: IntArray | None = None,
) -> RiskTable:
    """Count by day, group and state; whole days are counted without sorting.

    `state` holds 0 (censored) to `n_states`; `group` holds 0, 1, ...; all shapes (n,).
    """
    n_groups = 1 if group is None else int(group.max(initial=0)) + 1
    width = n_states + 1
    table = _whole_days(time, cells=n_groups * width) if weights is None else None
    if table is not None:
        days, place = np.arange(int(table.max(initial=0)) + 1, dtype=np.float64), table
    else:
        days, place = day_places(time)
    cell = np.multiply(place, n_groups, dtype=np.int64)
    if group is not None:
        cell += group
    cell *= width
    cell += state
    counts = np.bincount(cell, weights, minlength=len(days) * n_groups * width)
    leaving = counts.reshape(len(days), n_groups, width).astype(np.float64)
    if table is not None:
        seen = leaving.any(axis=(1, 2))
        days, leaving = days[seen], leaving[seen]
    at_risk = leaving.sum(axis=2)[::-1].cumsum(axis=0)[::-1]
    if entry is not None:
        days_before = np.searchsorted(days, entry, side="right")
        line = days_before if group is None else days_before * n_groups + group
        entering = np.bincount(line, weights, minlength=(len(days) + 1) * n_groups)
        absent = entering.reshape(len(days) + 1, n_groups)[1:][::-1].cumsum(axis=0)[::-1]
        at_risk = at_risk - absent
    return RiskTable(day=days, leaving=leaving, at_risk=at_risk)


def _whole_days(time: FloatArray, *, cells: int) -> npt.NDArray[np.int32] | None:
    """Give days as whole numbers where a table of all days up to the last is small; else None."""
    if not len(time) or float(time.max()) * cells >= LARGEST_DAY_TABLE:
        return None
    day = time.astype(np.int32)
    return day if bool(np.equal(day, time).all()) else None


def day_places(time: FloatArray) -> tuple[FloatArray, IntArray]:
    """Distinct days in order, and the place of each row's day among them."""
    top = float(time.max(initial=0.0))
    if top < LARGEST_DAY_TABLE and bool(np.all(time == np.floor(time))):
        day = time.astype(np.int64)
        present = np.bincount(day) > 0
        days = np.flatnonzero(present)
        if len(days) == int(top) + 1:
            return days.astype(np.float64), day
        return days.astype(np.float64), (np.cumsum(present) - 1)[day]
    days, place = np.unique(time, return_inverse=True)
    return days, place.astype(np.int64)
