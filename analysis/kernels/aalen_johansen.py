"""Cumulative incidence with competing events, and its variance by the infinitesimal jackknife.

The influence of a row on the incidence F(t) is
    sum over days k <= t of S(k-) dM1(k)/Y(k) - (F(t) - F(k)) dM(k) / (Y(k) (1 - h(k))),
with dM1 and dM the row's martingale steps for the cause and for any event. It is linear in three
numbers of a row, (p, q, m), that change on the days of entry and leaving only:
    p - F(t) q - m (P(t) - F(t) Q(t)).
So the sum of squares over clusters needs six running sums, not a matrix of rows by days.
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray, IntArray
from analysis.kernels.risk_table import RiskTable, day_places


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IncidenceSteps:
    """Estimate at each of K days and what the influence of a row is made of; shapes (K,)."""

    incidence: FloatArray
    survival: FloatArray  # free of every event
    own_event: FloatArray  # added to p by an event of the cause
    any_event: FloatArray  # added to p by any event
    any_event_q: FloatArray  # added to q by any event
    running_p: FloatArray  # P: taken from p while at risk
    running_q: FloatArray  # Q


def incidence_steps(at_risk: FloatArray, own: FloatArray, events: FloatArray) -> IncidenceSteps:
    """Aalen-Johansen estimate from counts by day: at risk, events of the cause, all events."""
    there = at_risk > 0
    inverse = np.divide(1.0, at_risk, out=np.zeros_like(at_risk), where=there)
    hazard = events * inverse
    survival = np.multiply.accumulate(1 - hazard)
    before = np.concatenate(([1.0], survival[:-1]))
    incidence = np.add.accumulate(before * own * inverse)
    last = np.divide(1.0, 1 - hazard, out=np.zeros_like(hazard), where=hazard < 1) * inverse
    own_event, any_event = before * inverse, incidence * last
    return IncidenceSteps(
        incidence=incidence, survival=survival,
        own_event=own_event, any_event=any_event, any_event_q=last,
        running_p=np.add.accumulate(own_event * own * inverse + any_event * hazard),
        running_q=np.add.accumulate(last * hazard),
    )  # fmt: skip


def independent_variance(steps: IncidenceSteps, table: RiskTable, cause: int) -> FloatArray:
    """Sum of squared influences when every row stands for itself, shape (K,).

    Unweighted and without late entry: rows that leave on one day in one state are alike.
    """
    counts = table.leaving[:, 0, :]
    p, q = _on_leaving(steps, np.arange(counts.shape[1])[None, :], cause)
    p, q = p - steps.running_p[:, None], q - steps.running_q[:, None]
    pp, pq, qq = (
        np.add.accumulate((counts * product).sum(axis=1)) for product in (p * p, p * q, q * q)
    )
    still = table.at_risk[:, 0] - counts.sum(axis=1)
    nothing = np.zeros_like(still)
    return _sum_of_squares(steps, (pp, pq, qq, nothing, nothing, still))


def clustered_variance(
    steps: IncidenceSteps,
    rows: tuple[FloatArray, IntArray, FloatArray],
    *,
    entry: FloatArray | None,
    cluster: IntArray,
    cause: int,
) -> FloatArray:
    """Sum over clusters of the squared sum of influences, shape (K,).

    `rows` are time, state and weight, shape (n,) each; `cluster` holds 0, 1, ...
    """
    time, state, weight = rows
    days, leave = day_places(time)
    enter = np.zeros(len(time), np.int64)
    if entry is not None:
        enter = np.searchsorted(days, entry, side="right").astype(np.int64)
    start_p = np.concatenate(([0.0], steps.running_p))[enter]
    start_q = np.concatenate(([0.0], steps.running_q))[enter]
    p, q = _on_leaving(steps, state, cause, leave)
    change = np.concatenate([
        np.column_stack((start_p, start_q, np.ones_like(weight))) * weight[:, None],
        np.column_stack((p - steps.running_p[leave], q - steps.running_q[leave],
                         -np.ones_like(weight))) * weight[:, None],
    ])  # fmt: skip
    day, owner = np.concatenate((enter, leave)), np.concatenate((cluster, cluster))
    order = np.lexsort((day, owner))
    change, day, owner = change[order], day[order], owner[order]
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    total = np.cumsum(change, axis=0)
    offset = np.concatenate((np.zeros((1, 3)), total))[first]
    after = total - np.repeat(offset, np.diff(np.append(first, len(owner))), axis=0)
    before = after - change
    sums = tuple(
        np.add.accumulate(
            np.bincount(day, after[:, i] * after[:, j] - before[:, i] * before[:, j], len(days))
        )
        for i, j in ((0, 0), (0, 1), (1, 1), (0, 2), (1, 2), (2, 2))
    )
    return _sum_of_squares(steps, sums)


def _on_leaving(
    steps: IncidenceSteps, state: IntArray, cause: int, day: IntArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Give what leaving in a state on a day adds to p and q."""
    index = slice(None) if day is None else day
    own, event, event_q = steps.own_event[index], steps.any_event[index], steps.any_event_q[index]
    if day is None:
        own, event, event_q = own[:, None], event[:, None], event_q[:, None]
    return own * (state == cause) + event * (state > 0), event_q * (state > 0)


def _sum_of_squares(steps: IncidenceSteps, sums: tuple[FloatArray, ...]) -> FloatArray:
    """Sum of (p - F q - m (P - F Q))^2 from the sums of pp, pq, qq, pm, qm, mm."""
    pp, pq, qq, pm, qm, mm = sums
    f = steps.incidence
    pull = steps.running_p - f * steps.running_q
    total = pp - 2 * f * pq + f * f * qq - 2 * pull * pm + 2 * f * pull * qm + pull * pull * mm
    return np.maximum(total, 0.0)
