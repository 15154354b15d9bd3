"""Turnbull's estimate: how events that lie between two visits are spread over time."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import nnls

from analysis.arrays import BoolArray, FloatArray, IntArray
from analysis.intervals import checked_interval

STEPS = 200
HALVINGS = 40
FLAT = 1e-9  # largest slope left, per row, at which the likelihood has its top
NOTHING = 1e-10  # mass below which an interval counts as empty


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Turnbull:
    """Mass of each innermost interval (left, right] that holds any, K intervals.

    Where left equals right the event lies on that day. An infinite right end is the mass of those
    who may never have the event. How the mass lies within an interval is not known.
    """

    left: FloatArray
    right: FloatArray
    mass: FloatArray
    log_likelihood: float
    n: int
    n_intervals: int  # rows with an event
    converged: bool
    iterations: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskBetween:
    """Risk by a day: no less than `low` and no more than `high`, whatever lies in the interval."""

    day: float
    low: float
    high: float


def turnbull(left: npt.ArrayLike, right: npt.ArrayLike) -> Turnbull:
    """Estimate the distribution of a day known to lie in (left, right].

    Parameters
    ----------
    left
        Last day on which the event had not happened, >= 0, shape (n,).
    right
        First day on which it had; NaN or infinite where it had not by `left` (right-censored);
        equal to `left` where the day itself is known.

    Returns
    -------
    Turnbull
        The maximum of the likelihood over the innermost intervals, by a constrained Newton
        method [2]_: each step is a least-squares problem with masses not below zero.

    Raises
    ------
    ValueError
        If shapes differ, a left end is missing or negative, or a right end lies before its left.

    References
    ----------
    .. [1] Turnbull BW. J R Stat Soc B 1976;38:290-295.
    .. [2] Wang Y. Comput Stat Data Anal 2008;52:2388-2402.
    """
    start, end = checked_interval(left, right)
    keys = _keys(start, end)
    first, last = _innermost(*keys)
    inside = (keys[0][:, None] <= first) & (last <= keys[1][:, None])
    mass, iterations, converged = _maximise(inside)
    held = mass > NOTHING
    days = np.unique(np.concatenate([start, end]))
    return Turnbull(
        left=days[first[held] // 2], right=days[last[held] // 2],
        mass=mass[held] / mass[held].sum(),
        log_likelihood=float(np.log(inside @ mass).sum()), n=len(start),
        n_intervals=int(np.isfinite(end).sum()), converged=converged, iterations=iterations,
    )  # fmt: skip


def risk_between(fit: Turnbull, days: Sequence[float]) -> tuple[RiskBetween, ...]:
    """Bound the risk by each of some days."""
    return tuple(
        RiskBetween(
            day=float(day),
            low=float(fit.mass[fit.right <= day].sum()),
            high=float(fit.mass[(fit.left < day) | (fit.right <= day)].sum()),
        )
        for day in days
    )


def _keys(start: FloatArray, end: FloatArray) -> tuple[IntArray, IntArray]:
    """Give each end of the intervals a number: even on a day, odd just after it."""
    days = np.unique(np.concatenate([start, end]))
    opens = 2 * np.searchsorted(days, start) + (start < end)
    return opens.astype(np.int64), (2 * np.searchsorted(days, end)).astype(np.int64)


def _innermost(opens: IntArray, closes: IntArray) -> tuple[IntArray, IntArray]:
    """Give the stretches that begin with an opening end and hold no other before they close."""
    place = np.concatenate([np.unique(opens), np.unique(closes)])
    closing = np.concatenate([np.zeros(len(np.unique(opens))), np.ones(len(np.unique(closes)))])
    order = np.lexsort((closing, place))
    place, closing = place[order], closing[order]
    meets = np.flatnonzero((closing[:-1] == 0) & (closing[1:] == 1))
    return place[meets], place[meets + 1]


def _maximise(inside: BoolArray) -> tuple[FloatArray, int, bool]:
    """Climb to the top: masses (K,) that sum to one."""
    rows = inside.astype(np.float64)
    n, k = rows.shape
    mass = np.full(k, 1 / k)
    for iteration in range(1, STEPS + 1):
        held = rows @ mass
        slopes = rows / held[:, None]
        if slopes.sum(axis=0).max() <= n * (1 + FLAT):
            return mass, iteration, True
        # Newton's step for sum(log) with sum(mass) = 1 as a heavy last row.
        heavy = float(n)
        target, _ = nnls(
            np.vstack([slopes, np.full(k, heavy)]),
            np.append(np.full(n, 2.0), heavy),
            maxiter=50 * k,
        )
        step = target / target.sum() - mass
        mass = _forward(rows, mass, step, held)
    return mass, STEPS, False


def _forward(rows: FloatArray, mass: FloatArray, step: FloatArray, held: FloatArray) -> FloatArray:
    """Go as far along a step as the likelihood rises enough."""
    rise = float((rows @ step / held).sum())
    now, share = float(np.log(held).sum()), 1.0
    for _ in range(HALVINGS):
        ahead = rows @ (mass + share * step)
        if ahead.min() > 0 and np.log(ahead).sum() >= now + share * rise / 3:
            break
        share /= 2
    moved = np.maximum(mass + share * step, 0.0)
    return moved / moved.sum()
