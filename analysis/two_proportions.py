"""Two proportions against each other: difference, ratio, odds ratio, number needed."""

from dataclasses import dataclass

import numpy as np

from analysis.chi_square import normal_quantile
from analysis.proportions import wilson_limits
from analysis.score_limits import where_score_is
from analysis.two_groups import TwoGroups


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """A contrast with limits; `std_error` is of the log for ratios, NaN where there is none."""

    measure: str
    estimate: float
    std_error: float
    low: float
    high: float
    confidence: float
    method: str
    concerns: tuple[str, ...] = ()


def risk_difference_newcombe(
    groups: TwoGroups, *, confidence: float = 0.95, design_effects: tuple[float, float] = (1.0, 1.0)
) -> Contrast:
    """Give the difference with Newcombe's hybrid score limits (his method 10).

    Both groups' Wilson limits are joined; each number is divided by its design effect first.

    References
    ----------
    .. [1] Newcombe RG. Stat Med 1998;17:873-890.
    """
    z = normal_quantile(confidence)
    exposed, reference = groups.shares
    low1, high1 = wilson_limits(exposed, groups.n / design_effects[0], z)
    low0, high0 = wilson_limits(reference, groups.reference_n / design_effects[1], z)
    difference = exposed - reference
    low = difference - float(np.hypot(exposed - low1, high0 - reference))
    high = difference + float(np.hypot(high1 - exposed, reference - low0))
    method = "Newcombe hybrid score"
    return _difference(difference, np.nan, (low, high), (confidence, method))


def risk_difference_score(
    groups: TwoGroups, *, confidence: float = 0.95, finite_factor: bool = True
) -> Contrast:
    """Give the difference with Miettinen and Nurminen's score limits.

    Parameters
    ----------
    finite_factor
        Whether the variance carries N / (N - 1) [1]_; without it the limits are Mee's.

    Notes
    -----
    The proportions in the variance are the most likely ones under the difference tried, in
    closed form [1]_; the limits are found by bisection of the score, which only falls as the
    difference grows. statsmodels 0.15 gives other, wrong limits for this method.

    References
    ----------
    .. [1] Miettinen O, Nurminen M. Stat Med 1985;4:213-226.
    """
    z = normal_quantile(confidence)
    exposed, reference = groups.shares
    difference = exposed - reference
    low = where_score_is(z, groups, (-1.0, difference), finite_factor=finite_factor)
    high = where_score_is(-z, groups, (difference, 1.0), finite_factor=finite_factor)
    method = "Miettinen-Nurminen score" if finite_factor else "Mee score"
    return _difference(difference, np.nan, (low, high), (confidence, method))


def risk_difference_wald(groups: TwoGroups, *, confidence: float = 0.95) -> Contrast:
    """Give the difference with Wald's limits, which are poor for small numbers."""
    exposed, reference = groups.shares
    variance = exposed * (1 - exposed) / groups.n
    variance += reference * (1 - reference) / groups.reference_n
    error, difference = float(np.sqrt(variance)), exposed - reference
    half = normal_quantile(confidence) * error
    method = "Wald"
    return _difference(
        difference, error, (difference - half, difference + half), (confidence, method)
    )


def risk_ratio(groups: TwoGroups, *, confidence: float = 0.95) -> Contrast:
    """Give the ratio of risks with Katz's limits on the log scale.

    Without an event in a group there is no number, and the concern no_events.
    """
    if not groups.events or not groups.reference_events:
        return _no_ratio("risk_ratio", confidence, "Katz log", "no_events")
    exposed, reference = groups.shares
    variance = 1 / groups.events - 1 / groups.n
    variance += 1 / groups.reference_events - 1 / groups.reference_n
    return _ratio("risk_ratio", exposed / reference, variance, (confidence, "Katz log"))


def odds_ratio(groups: TwoGroups, *, confidence: float = 0.95) -> Contrast:
    """Give the odds ratio with Woolf's limits on the log scale.

    With an empty cell there is no number, and the concern separation.
    """
    cells = np.array(
        [
            groups.events,
            groups.n - groups.events,
            groups.reference_events,
            groups.reference_n - groups.reference_events,
        ],
        dtype=np.float64,
    )
    if not cells.all():
        return _no_ratio("odds_ratio", confidence, "Woolf log", "separation")
    estimate = float(cells[0] * cells[3] / (cells[1] * cells[2]))
    return _ratio("odds_ratio", estimate, float((1 / cells).sum()), (confidence, "Woolf log"))


def number_needed(difference: Contrast) -> Contrast:
    """Turn a risk difference into the number needed to treat; negative where risk falls.

    The estimate is 1 / difference, the limits 1 / high and 1 / low. Where the difference's
    interval holds zero the number's runs from `low` through infinity to `high`, and the concern
    interval_through_infinity says so [1]_.

    References
    ----------
    .. [1] Altman DG. BMJ 1998;317:1309-1312.
    """
    through_infinity = difference.low <= 0 <= difference.high
    return Contrast(
        measure="number_needed_to_treat",
        estimate=_one_over(difference.estimate),
        std_error=float("nan"),
        low=_one_over(difference.high),
        high=_one_over(difference.low),
        confidence=difference.confidence,
        method=f"1 / risk difference ({difference.method})",
        concerns=("interval_through_infinity",) if through_infinity else (),
    )


def _difference(
    estimate: float, std_error: float, limits: tuple[float, float], settings: tuple[float, str]
) -> Contrast:
    low, high = limits
    confidence, method = settings
    return Contrast(
        measure="risk_difference",
        estimate=estimate,
        std_error=std_error,
        low=low,
        high=high,
        confidence=confidence,
        method=method,
    )


def _one_over(value: float) -> float:
    return 1 / value if value else float("inf")


def _ratio(measure: str, estimate: float, variance: float, settings: tuple[float, str]) -> Contrast:
    confidence, method = settings
    error = float(np.sqrt(variance))
    factor = float(np.exp(normal_quantile(confidence) * error))
    return Contrast(
        measure=measure,
        estimate=estimate,
        std_error=error,
        low=estimate / factor,
        high=estimate * factor,
        confidence=confidence,
        method=method,
    )


def _no_ratio(measure: str, confidence: float, method: str, concern: str) -> Contrast:
    nan = float("nan")
    return Contrast(
        measure=measure,
        estimate=nan,
        std_error=nan,
        low=nan,
        high=nan,
        confidence=confidence,
        method=method,
        concerns=(concern,),
    )
