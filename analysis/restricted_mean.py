"""Mean time free of the event up to a day, and how two groups differ in it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analysis.chi_square import normal_quantile
from analysis.survival import KaplanMeier, kaplan_meier


@dataclass(frozen=True, slots=True, kw_only=True)
class RestrictedMean:
    """Area under the survival curve up to `horizon`, in days, with its standard error."""

    horizon: float
    estimate: float
    std_error: float

    def limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Limits on the scale of days."""
        half = normal_quantile(confidence) * self.std_error
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanContrast:
    """Difference in days, or ratio, of two restricted means; `std_error` of the log for a ratio."""

    estimate: float
    std_error: float
    low: float
    high: float
    p_value: float


def restricted_mean(
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    horizon: float,
    entry: npt.ArrayLike | None = None,
) -> RestrictedMean:
    """Estimate the mean time free of the event within `horizon` days.

    Returns
    -------
    RestrictedMean
        Area under Kaplan-Meier with its sampling variance [1]_: the sum over event days of
        (area from there to the horizon)^2 d / (n (n - d)).

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
    if horizon > curve.day[-1] and curve.estimate[-1] > 0:
        raise ValueError(f"horizon must be within follow-up, got {horizon:g} > {curve.day[-1]:g}")
    return _area(curve, horizon)


def difference_of_means(
    first: RestrictedMean, second: RestrictedMean, *, confidence: float = 0.95
) -> MeanContrast:
    """Compare two groups by the difference of their restricted means."""
    spread = float(np.hypot(first.std_error, second.std_error))
    return _contrast(first.estimate - second.estimate, spread, confidence, log=False)


def ratio_of_means(
    first: RestrictedMean, second: RestrictedMean, *, confidence: float = 0.95
) -> MeanContrast:
    """Compare two groups by the ratio of their restricted means, limits on the log scale."""
    spread = float(np.hypot(first.std_error / first.estimate, second.std_error / second.estimate))
    return _contrast(float(np.log(first.estimate / second.estimate)), spread, confidence, log=True)


def _area(curve: KaplanMeier, horizon: float) -> RestrictedMean:
    inside = curve.day < horizon
    days = np.concatenate(([0.0], curve.day[inside], [horizon]))
    survival = np.concatenate(([1.0], curve.estimate[inside]))
    pieces = survival * np.diff(days)
    to_go = pieces[::-1].cumsum()[::-1][1:]
    events, at_risk = curve.n_events[inside], curve.n_at_risk[inside]
    remaining = at_risk * (at_risk - events)
    relative = np.divide(events, remaining, out=np.zeros_like(events), where=remaining > 0)
    return RestrictedMean(
        horizon=horizon,
        estimate=float(pieces.sum()),
        std_error=float(np.sqrt((to_go**2 * relative).sum())),
    )


def _contrast(value: float, spread: float, confidence: float, *, log: bool) -> MeanContrast:
    z = normal_quantile(confidence)
    numbers = np.array([value, value - z * spread, value + z * spread])
    estimate, low, high = (np.exp(numbers) if log else numbers).tolist()
    return MeanContrast(
        estimate=estimate, std_error=spread, low=low, high=high,
        p_value=float(2 * ndtr(-abs(value) / spread)),
    )  # fmt: skip
