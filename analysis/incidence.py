"""Cumulative incidence of one cause of several (Aalen-Johansen), with ties as they are."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, IntArray, cluster_codes, finite_matrix, non_negative
from analysis.kernels.aalen_johansen import (
    clustered_variance,
    incidence_steps,
    independent_variance,
)
from analysis.kernels.risk_table import day_places, risk_table
from analysis.survival import checked_times, survival_limits


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Incidence:
    """Cumulative incidence at each day on which somebody leaves; all arrays have shape (K,).

    Limits are NaN before the first event of the cause. Counts are weighted where weights were
    given.
    """

    day: FloatArray
    estimate: FloatArray
    std_error: FloatArray
    low: FloatArray
    high: FloatArray
    event_free: FloatArray  # share free of every event
    n_at_risk: FloatArray
    n_events: FloatArray  # of the cause, on the day
    n_competing: FloatArray
    n_censored: FloatArray
    n: int
    clusters: int | None
    confidence: float

    def area(self, horizon: float) -> float:
        """Mean time spent after the event up to a day: the area under the incidence."""
        inside = self.day < horizon
        steps = np.append(self.day[inside], horizon)
        return float(np.sum(self.estimate[inside] * np.diff(steps)))


@dataclass(frozen=True, slots=True, kw_only=True)
class IncidenceAt:
    """Cumulative incidence by one day; NaN with the concern where nobody was followed to it."""

    day: float
    estimate: float
    std_error: float
    low: float
    high: float
    confidence: float
    n_at_risk: float  # still followed on that day
    n_events: float  # of the cause, by that day
    n_competing: float
    n_censored: float
    concerns: tuple[str, ...]


def aalen_johansen(
    time: npt.ArrayLike,
    state: npt.ArrayLike,
    *,
    cause: int,
    cluster: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
    entry: npt.ArrayLike | None = None,
    confidence: float = 0.95,
) -> Incidence:
    """Estimate the cumulative incidence of one cause, the others competing.

    Parameters
    ----------
    time
        Day of leaving, >= 0, shape (n,).
    state
        How the row leaves: 0 censored, 1, 2, ... the causes; shape (n,).
    cause
        The cause of interest.
    cluster
        Label of each row's cluster: the variance sums influences by cluster (the infinitesimal
        jackknife by cluster). None: rows are independent.
    weights
        Case weights >= 0.
    entry
        Day after which a row is at risk (left truncation).

    Returns
    -------
    Incidence
        Limits on the complementary log-log scale, log(-log(1 - F)): without competing events
        they are the log-log limits of Kaplan-Meier.

    Raises
    ------
    ValueError
        If a value is missing, a time is negative or not after its entry, a state is no whole
        number from 0, the cause is below 1, or there is no row.

    Notes
    -----
    Tied days are taken as tied. Estimate and standard error are those of R's
    ``survfit(Surv(time, factor(state)) ~ 1, cluster = )``.

    References
    ----------
    .. [1] Aalen OO, Johansen S. Scand J Stat 1978;5:141-150.
    """
    days, start = checked_times(time, entry)
    states = checked_states(state, rows=len(days))
    if cause < 1:
        raise ValueError(f"cause must be at least 1, got {cause}")
    weight = None if weights is None else non_negative(weights, "weights", rows=len(days))
    table = risk_table(
        days, states, n_states=max(int(states.max()), cause), entry=start, weights=weight
    )
    counts, at_risk = table.leaving[:, 0, :], table.at_risk[:, 0]
    events = counts[:, 1:].sum(axis=1)
    steps = incidence_steps(at_risk, counts[:, cause], events)
    codes, n_clusters = (None, None) if cluster is None else cluster_codes(cluster, rows=len(days))
    if codes is None and weight is None and start is None:
        variance = independent_variance(steps, table, cause)
    else:
        own = np.arange(len(days), dtype=np.int64) if codes is None else codes
        rows = (days, states, np.ones(len(days)) if weight is None else weight)
        variance = clustered_variance(steps, rows, entry=start, cluster=own, cause=cause)
    std_error = np.sqrt(variance)
    free_high, free_low = survival_limits(
        1 - steps.incidence, std_error, conf_type="log-log", confidence=confidence
    )
    return Incidence(
        day=table.day, estimate=steps.incidence, std_error=std_error,
        low=1 - free_low, high=1 - free_high, event_free=steps.survival,
        n_at_risk=at_risk, n_events=counts[:, cause], n_competing=events - counts[:, cause],
        n_censored=counts[:, 0], n=len(days), clusters=n_clusters, confidence=confidence,
    )  # fmt: skip


def incidence_at(incidence: Incidence, days: Sequence[float]) -> tuple[IncidenceAt, ...]:
    """Read the incidence by each of some days."""
    return tuple(_at(incidence, float(day)) for day in days)


def incidence_batch(
    time: npt.ArrayLike,
    state: npt.ArrayLike,
    weights: npt.ArrayLike,
    *,
    cause: int,
    days: Sequence[float],
) -> FloatArray:
    """Estimate the incidence by some days once per weight vector, shape (len(days), B).

    `weights` has shape (n, B). Before the first day of leaving it is 0; after the last, the last.
    """
    left, _ = checked_times(time, None)
    states = checked_states(state, rows=len(left))
    weight = finite_matrix(weights, "weights", rows=len(left))
    known, place = day_places(left)
    order = np.argsort(place, kind="stable")
    starts = np.searchsorted(place[order], np.arange(len(known)))
    sorted_weight, sorted_state = weight[order], states[order][:, None]

    def by_day(chosen: FloatArray) -> FloatArray:
        return np.add.reduceat(chosen, starts, axis=0)

    at_risk = np.cumsum(by_day(sorted_weight)[::-1], axis=0)[::-1]
    inverse = np.divide(1.0, at_risk, out=np.zeros_like(at_risk), where=at_risk > 0)
    survival = np.cumprod(1 - by_day(sorted_weight * (sorted_state > 0)) * inverse, axis=0)
    before = np.vstack((np.ones((1, weight.shape[1])), survival[:-1]))
    own = by_day(sorted_weight * (sorted_state == cause))
    incidence = np.cumsum(before * own * inverse, axis=0)
    padded = np.vstack((np.zeros((1, weight.shape[1])), incidence))
    return padded[np.searchsorted(known, np.asarray(days, np.float64), side="right")]


def checked_states(state: npt.ArrayLike, *, rows: int) -> IntArray:
    """Check state codes.

    Raises
    ------
    ValueError
        If a state is missing or no whole number from 0.
    """
    codes = non_negative(state, "state", rows=rows)
    strange = codes[codes != np.floor(codes)]
    if strange.size:
        raise ValueError(f"state must hold whole numbers from 0, got {strange[0]:g}")
    return codes.astype(np.int64)


def _at(incidence: Incidence, day: float) -> IncidenceAt:
    by = int(np.searchsorted(incidence.day, day, side="right"))
    on = int(np.searchsorted(incidence.day, day, side="left"))
    beyond = on == len(incidence.day) and bool(incidence.event_free[-1] > 0)
    n_events = float(incidence.n_events[:by].sum())
    numbers = (
        (float("nan"),) * 4
        if beyond
        else tuple(
            float(values[by - 1]) if by else blank
            for values, blank in (
                (incidence.estimate, 0.0),
                (incidence.std_error, 0.0),
                (incidence.low, float("nan")),
                (incidence.high, float("nan")),
            )
        )
    )
    concerns = (*(["beyond_follow_up"] if beyond else []), *([] if n_events else ["no_events"]))
    return IncidenceAt(
        day=day, estimate=numbers[0], std_error=numbers[1], low=numbers[2], high=numbers[3],
        confidence=incidence.confidence,
        n_at_risk=float(incidence.n_at_risk[on]) if on < len(incidence.day) else 0.0,
        n_events=n_events, n_competing=float(incidence.n_competing[:by].sum()),
        n_censored=float(incidence.n_censored[:by].sum()), concerns=concerns,
    )  # fmt: skip
