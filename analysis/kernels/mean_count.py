"""Mean count of a recurrent event by day, and what each cluster adds to it."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretches:
    """Rows in counting form: at risk after `entry` up to and on `time`; all shapes (n,)."""

    entry: FloatArray
    time: FloatArray
    event: BoolArray  # ends with the recurrent event
    terminal: BoolArray  # ends with what ends the counting
    cluster: IntArray  # 0 to C - 1, each there


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Counted:
    """A line per day on which a stretch ends, K days; snapshots are rows of `influence`."""

    day: FloatArray
    n_at_risk: FloatArray
    n_events: FloatArray
    n_terminal: FloatArray
    n_ending: FloatArray  # stretches that end on the day, whatever ends them
    estimate: FloatArray
    std_error: FloatArray
    influence: FloatArray  # (days asked for, C)


def count_by_day(rows: Stretches, asked: FloatArray) -> Counted:
    """Add up, over days, the share free of the terminal event times events over those at risk.

    The variance is the infinitesimal jackknife by cluster. On a day with both, the events come
    before the terminal ones. `asked` holds days in increasing order.
    """
    day, place = np.unique(rows.time, return_inverse=True)
    width = int(rows.cluster.max()) + 1
    own = [_by_day(place, kind, len(day)) for kind in (rows.event, rows.terminal)]
    comes = _by_day(np.searchsorted(day, rows.entry, side="right"), None, len(day))
    goes = _by_day(place + 1, None, len(day))
    at_risk, moved, free_moved = np.zeros(width), np.zeros(width), np.zeros(width)
    free, total = 1.0, 0.0
    lines = np.zeros((len(day), 5))
    snapshots = np.zeros((len(asked), width))
    reads = np.searchsorted(day, asked, side="right")
    for k in range(len(day)):
        at_risk += _sums(rows.cluster, comes[k], width) - _sums(rows.cluster, goes[k], width)
        n, d, ended = at_risk.sum(), len(own[0][k]), len(own[1][k])
        if d:
            hazard = d / n
            moved += free * (
                (_sums(rows.cluster, own[0][k], width) - at_risk * hazard) / n + hazard * free_moved
            )
            total += free * hazard
        if ended:
            # How a cluster moves the log of 1 - ended / n; where nobody is left, nothing follows.
            left = n - ended
            by_cluster = _sums(rows.cluster, own[1][k], width)
            free_moved += (at_risk * ended / n - by_cluster) / left if left else 0.0
            free *= left / n
        lines[k] = n, d, ended, total, np.sqrt(moved @ moved)
        snapshots[reads == k + 1] = moved
    return Counted(
        day=day, n_at_risk=lines[:, 0], n_events=lines[:, 1], n_terminal=lines[:, 2],
        n_ending=np.bincount(place, minlength=len(day)).astype(np.float64),
        estimate=lines[:, 3], std_error=lines[:, 4], influence=snapshots,
    )  # fmt: skip


def _by_day(place: IntArray, chosen: BoolArray | None, n_days: int) -> list[IntArray]:
    """List the chosen rows of each day; a place beyond the last day is on none."""
    rows = np.arange(len(place)) if chosen is None else np.flatnonzero(chosen)
    order = rows[np.argsort(place[rows], kind="stable")]
    cuts = np.searchsorted(place[order], np.arange(n_days + 1))
    return [order[cuts[k] : cuts[k + 1]] for k in range(n_days)]


def _sums(cluster: IntArray, rows: IntArray, width: int) -> FloatArray:
    return np.bincount(cluster[rows], minlength=width).astype(np.float64)
