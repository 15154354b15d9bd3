"""Two means compared, where clusters may have rows in both groups: difference and ratio."""

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analysis.arrays import FloatArray
from analysis.chi_square import normal_quantile

FEW = 5  # events in a group below which the limits of a contrast are likely too narrow


class Mean(Protocol):
    """A mean of a group with its error, and how each cluster moves it (none if independent)."""

    @property
    def estimate(self) -> float:
        """The mean."""
        ...

    @property
    def std_error(self) -> float:
        """Its standard error."""
        ...

    @property
    def n_events(self) -> int:
        """Events behind it."""
        ...

    @property
    def labels(self) -> npt.NDArray[Any]:
        """Labels of the clusters, each once, shape (C,)."""
        ...

    @property
    def influence(self) -> FloatArray:
        """What each cluster adds to the mean, shape (C,)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanContrast:
    """Difference or ratio of two means; `std_error` of the log for a ratio.

    NaN, with the reason among the concerns, where nothing varies.
    """

    estimate: float
    std_error: float
    low: float
    high: float
    p_value: float
    concerns: tuple[str, ...] = ()


def difference_of_means(first: Mean, second: Mean, *, confidence: float = 0.95) -> MeanContrast:
    """Compare two groups by the difference of their means.

    Clusters that have rows in both groups add their covariance.
    """
    variance = first.std_error**2 + second.std_error**2 - 2 * _shared(first, second)
    value = first.estimate - second.estimate
    return _contrast((first, second), value, variance, confidence, log=False)


def ratio_of_means(first: Mean, second: Mean, *, confidence: float = 0.95) -> MeanContrast:
    """Compare two groups by the ratio of their means, limits on the log scale."""
    if min(first.estimate, second.estimate) <= 0:
        return _withheld((first, second))
    variance = (
        (first.std_error / first.estimate) ** 2
        + (second.std_error / second.estimate) ** 2
        - 2 * _shared(first, second) / (first.estimate * second.estimate)
    )
    value = float(np.log(first.estimate / second.estimate))
    return _contrast((first, second), value, variance, confidence, log=True)


def _shared(first: Mean, second: Mean) -> float:
    """Covariance of two means through the clusters that have rows in both."""
    _, ours, theirs = np.intersect1d(first.labels, second.labels, return_indices=True)
    return float(first.influence[ours] @ second.influence[theirs])


def _contrast(
    means: tuple[Mean, Mean], value: float, variance: float, confidence: float, *, log: bool
) -> MeanContrast:
    if not variance > 0:
        return _withheld(means)
    spread = float(np.sqrt(variance))
    half = normal_quantile(confidence) * spread
    numbers = np.array([value, value - half, value + half])
    estimate, low, high = (np.exp(numbers) if log else numbers).tolist()
    few = min(mean.n_events for mean in means) < FEW
    return MeanContrast(
        estimate=estimate, std_error=spread, low=low, high=high,
        p_value=float(2 * ndtr(-abs(value) / spread)),
        concerns=("interval_too_narrow",) if few else (),
    )  # fmt: skip


def _withheld(means: tuple[Mean, Mean]) -> MeanContrast:
    """Give no number: nobody had an event, or the means leave nothing to compare."""
    none = float("nan")
    concern = "not_identified" if any(mean.n_events for mean in means) else "no_events"
    return MeanContrast(
        estimate=none, std_error=none, low=none, high=none, p_value=none, concerns=(concern,)
    )
