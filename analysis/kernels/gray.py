"""Score and variance of Gray's test within one stratum."""

import numpy as np

from analysis.arrays import FloatArray, IntArray

CAUSE, OTHER = 1, 2


def gray_stratum(
    time: FloatArray, kind: IntArray, group: IntArray, *, n_groups: int, rho: float
) -> tuple[FloatArray, FloatArray]:
    """Walk through the days of one stratum.

    Parameters
    ----------
    time, kind, group
        Day, 0 censored / 1 the cause / 2 another, and group 0 to G - 1 of each row, shape (n,).

    Returns
    -------
    tuple of FloatArray
        Score (G - 1,) of all groups but the last, and its variance (G - 1, G - 1).
    """
    leaving = _counts(time, kind, group, n_groups)
    at_risk = np.cumsum(leaving.sum(axis=1)[::-1], axis=0)[::-1]
    walk = _Walk(n_groups)
    for place in np.flatnonzero(leaving[:, 1:].any(axis=(1, 2))):
        walk.step(at_risk[place], leaving[place, CAUSE], leaving[place, OTHER], rho=rho)
    return walk.score[:-1], walk.variance()[:-1, :-1]


class _Walk:
    """What is carried from day to day; G groups.

    An event on a day moves a group's incidence on that day, and, because fewer are left, on all
    later ones: its influence on the score is `now` + `later` times the drift still to come.
    """

    def __init__(self, n_groups: int) -> None:
        self.free = np.ones(n_groups)  # share free of every event, before the day
        self.own = np.zeros(n_groups)  # incidence of the cause, before the day
        self.pooled = 0.0  # the same of all groups, under no difference
        self.score = np.zeros(n_groups)
        self.drift = np.zeros((n_groups, n_groups))
        self.influences: list[tuple[FloatArray, FloatArray, FloatArray, FloatArray]] = []

    def step(self, risk: FloatArray, cause: FloatArray, other: FloatArray, *, rho: float) -> None:
        """Take one day: rows at risk and leaving by group, each (G,)."""
        here = risk > 0
        safe = np.where(here, risk, 1.0)
        size = np.where(here, risk / np.where(here, self.free, 1.0), 0.0)
        total, events = float(size.sum()), float(cause.sum())
        free = self.free * np.where(here, 1 - (cause + other) / safe, 1.0)
        pooled = self.pooled + events / total
        eased = size * (1 - self.own)
        now = (1 - self.pooled) ** rho * (np.diag(size) - np.outer(size, size) / total)
        self.score += (1 - self.pooled) ** rho * (cause - events * eased / eased.sum())
        self.drift += now * events / (total * (1 - self.pooled))
        left = np.divide(1 - pooled, free, out=np.zeros_like(free), where=free > 0)
        if events:
            tied = 1 - (events - 1) / (total * self.free - 1) if events > 1 else 1.0
            size_now = np.where(here, tied * self.free * events / (total * safe), 0.0)
            self._keep(now, np.where(free > 0, 1 - left, 1.0), size_now)
        tied = 1 - np.maximum(other - 1, 0) / np.maximum(risk - 1, 1)
        self._keep(np.zeros_like(now), left, tied * self.free**2 * other / safe**2)
        self.own = self.own + np.where(here, self.free * cause / safe, 0.0)
        self.free, self.pooled = free, pooled

    def variance(self) -> FloatArray:
        """Sum the squared influences, shape (G, G), once the whole drift is known."""
        total = np.zeros_like(self.drift)
        for now, later, size, drift in self.influences:
            change = now + (self.drift - drift) * later
            total += (change * size) @ change.T
        return total

    def _keep(self, now: FloatArray, later: FloatArray, size: FloatArray) -> None:
        self.influences.append((now, later, size, self.drift.copy()))


def _counts(time: FloatArray, kind: IntArray, group: IntArray, n_groups: int) -> FloatArray:
    """Count rows by day, kind and group, shape (J, 3, G)."""
    day = np.unique(time, return_inverse=True)[1]
    cell = (day * 3 + kind) * n_groups + group
    counts = np.bincount(cell, minlength=(int(day.max()) + 1) * 3 * n_groups)
    return counts.reshape(-1, 3, n_groups).astype(np.float64)
