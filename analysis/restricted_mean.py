"""Mean time free of the event up to a day: the area under the survival curve."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, labelled
from analysis.chi_square import normal_quantile
from analysis.survival import KaplanMeier, checked_times, kaplan_meier


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RestrictedMean:
    """Area under the survival curve up to `horizon`, in days, with its standard error.

    `influence` holds what each cluster adds to the estimate, by its label; none without clusters.
    """

    horizon: float
    estimate: float
    std_error: float
    n_events: int  # before the horizon
    clusters: int | None = None
    labels: npt.NDArray[Any] = field(default_factory=lambda: np.empty(0, np.str_))
    influence: FloatArray = field(default_factory=lambda: np.empty(0))

    def limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Limits on the scale of days, within 0 and the horizon; NaN where nothing varies."""
        if not self.std_error > 0:
            return float("nan"), float("nan")
        half = normal_quantile(confidence) * self.std_error
        return max(self.estimate - half, 0.0), min(self.estimate + half, self.horizon)


def restricted_mean(
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    horizon: float,
    entry: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
) -> RestrictedMean:
    """Estimate the mean time free of the event within `horizon` days.

    Parameters
    ----------
    time, event, entry
        As ``kaplan_meier``.
    horizon
        Day up to which time counts, above 0.
    cluster
        Label of each row's cluster: influences of its rows are summed before they are squared.

    Returns
    -------
    RestrictedMean
        Area under Kaplan-Meier. Without clusters its variance is the sum over event days of
        (area from there to the horizon)^2 d / (n (n - d)) [1]_; with clusters it is the
        infinitesimal jackknife by cluster, which without late entry gives the same where each row
        is a cluster.

    Raises
    ------
    ValueError
        As ``kaplan_meier``; or if nobody is followed to the horizon although some are free of
        the event when last seen.

    References
    ----------
    .. [1] Klein JP, Moeschberger ML. Survival Analysis, 2nd ed. Springer 2003, section 4.5.
    """
    curve = kaplan_meier(time, event, entry=entry)
    if horizon <= 0:
        raise ValueError(f"horizon must be above 0, got {horizon:g}")
    if beyond_follow_up(curve, horizon):
        raise ValueError(f"horizon must be within follow-up, got {horizon:g} > {curve.day[-1]:g}")
    inside, area, to_go = _area(curve, horizon)
    days, start = checked_times(time, entry)
    events = curve.n_events[inside]
    remaining = curve.n_at_risk[inside] - events
    per_event = np.divide(to_go, remaining, out=np.zeros_like(to_go), where=remaining > 0)
    drift = per_event * events / curve.n_at_risk[inside]
    n_events = int(events.sum())
    if cluster is None:
        error = float(np.sqrt((drift * to_go)[remaining > 0].sum()))
        return RestrictedMean(
            horizon=horizon, estimate=area, std_error=error, n_events=n_events
        )  # fmt: skip
    codes, labels = labelled(cluster, rows=len(days))
    happened = np.asarray(event, np.float64)
    by_row = _influence((days, happened, start), curve.day[inside], per_event, drift)
    influence = np.bincount(codes, by_row, minlength=len(labels)).astype(np.float64)
    return RestrictedMean(
        horizon=horizon, estimate=area, std_error=float(np.sqrt(influence @ influence)),
        n_events=n_events, clusters=len(labels), labels=labels, influence=influence,
    )  # fmt: skip


def beyond_follow_up(curve: KaplanMeier, day: float) -> bool:
    """Whether nobody was followed to a day although some were still free of the event."""
    return bool(day > curve.day[-1] and curve.estimate[-1] > 0)


def _area(curve: KaplanMeier, horizon: float) -> tuple[npt.NDArray[np.bool_], float, FloatArray]:
    """Say which days lie inside, the area up to the horizon, and that to go from each day."""
    inside = curve.day < horizon
    days = np.concatenate(([0.0], curve.day[inside], [horizon]))
    survival = np.concatenate(([1.0], curve.estimate[inside]))
    pieces = survival * np.diff(days)
    return inside, float(pieces.sum()), pieces[::-1].cumsum()[::-1][1:]


def _influence(
    rows: tuple[FloatArray, FloatArray, FloatArray | None],
    day: FloatArray,
    per_event: FloatArray,
    drift: FloatArray,
) -> FloatArray:
    """How the area moves with the weight of each row, shape (n,).

    A row at risk on a day with n at risk and d events moves the log of that day's factor 1 - d/n
    by d / (n (n - d)), its own event by -1 / (n - d); either moves the area from that day on.
    """
    time, event, entry = rows
    risen = np.concatenate(([0.0], np.cumsum(drift)))
    left = np.searchsorted(day, time, side="right")
    moved = risen[left]
    if entry is not None:
        moved = moved - risen[np.searchsorted(day, entry, side="right")]
    own = (event == 1) & np.isin(time, day)
    cut = np.zeros_like(time)
    cut[own] = per_event[left[own] - 1]
    return moved - cut
