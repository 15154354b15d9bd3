"""How wide an interval will be, from totals alone: outcome by exposure is never looked at."""

from dataclasses import dataclass

import numpy as np

from analysis.chi_square import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedInterval:
    """Expected standard error and width of an interval, on the scale of `measure`.

    For log ratios `high_over_low` is the upper limit of the ratio over its lower one; for a risk
    difference it is None.
    """

    measure: str
    std_error: float
    width: float
    high_over_low: float | None
    confidence: float
    formula: str


def events_per_parameter(events: int, parameters: int, *, n: int | None = None) -> float:
    """Divide the events, or with `n` the rarer of events and non-events, by the parameters.

    Raises
    ------
    ValueError
        If there is no parameter, or more events than `n`.
    """
    if parameters < 1:
        raise ValueError(f"parameters must be at least 1, got {parameters}")
    if events < 0 or (n is not None and events > n):
        raise ValueError(f"events must lie between 0 and n, got {events} of {n}")
    return (events if n is None else min(events, n - events)) / parameters


def expected_log_hazard_ratio(
    events: int,
    share_exposed: float,
    *,
    design_effect: float = 1.0,
    explained: float = 0.0,
    confidence: float = 0.95,
) -> ExpectedInterval:
    """Expect the interval of the log hazard ratio of a two-armed exposure.

    Parameters
    ----------
    events
        All events, whichever arm they fell in.
    share_exposed
        Share of stifles in the exposed arm, between 0 and 1.
    design_effect
        How many times clustering multiplies the variance.
    explained
        Share of the exposure's variance that the other terms explain: the variance grows by
        1 / (1 - explained) [2]_.

    Returns
    -------
    ExpectedInterval
        Variance 1 / (events q (1 - q)) under no effect [1]_; infinite without events.

    References
    ----------
    .. [1] Schoenfeld DA. Biometrics 1983;39:499-503.
    .. [2] Hsieh FY, Lavori PW. Control Clin Trials 2000;21:552-560.
    """
    information = events * _spread(share_exposed)
    variance = _inflated(information, design_effect, explained)
    formula = "Schoenfeld 1983: 1 / (events q (1 - q)), times the design effect"
    return _interval("hazard_ratio", variance, (confidence, formula))


def expected_log_odds_ratio(
    n: int,
    events: int,
    share_exposed: float,
    *,
    design_effect: float = 1.0,
    explained: float = 0.0,
    confidence: float = 0.95,
) -> ExpectedInterval:
    """Expect the interval of the log odds ratio of a two-armed exposure.

    The variance is 1 / (n p (1 - p) q (1 - q)), with p the overall risk, under no effect [1]_.

    References
    ----------
    .. [1] Hsieh FY, Bloch DA, Larsen MD. Stat Med 1998;17:1623-1634.
    """
    information = n * _risk_variance(events, n) * _spread(share_exposed)
    variance = _inflated(information, design_effect, explained)
    formula = "Hsieh 1998: 1 / (n p (1 - p) q (1 - q)), times the design effect"
    return _interval("odds_ratio", variance, (confidence, formula))


def expected_risk_difference(
    n: int,
    events: int,
    share_exposed: float,
    *,
    design_effect: float = 1.0,
    confidence: float = 0.95,
) -> ExpectedInterval:
    """Expect the interval of a risk difference between two arms.

    The variance is p (1 - p) / (n q (1 - q)), both arms at the overall risk p [1]_.

    References
    ----------
    .. [1] Fleiss JL, Levin B, Paik MC. Statistical Methods for Rates and Proportions, 3rd ed.
       Wiley 2003, chapter 4: the pooled variance under no difference.
    """
    spread = n * _spread(share_exposed)
    risk_variance = _risk_variance(events, n)
    variance = design_effect * risk_variance / spread if spread and risk_variance else np.inf
    formula = "Fleiss 2003: p (1 - p) / (n q (1 - q)), times the design effect"
    return _interval("risk_difference", variance, (confidence, formula))


def _spread(share_exposed: float) -> float:
    if not 0 <= share_exposed <= 1:
        raise ValueError(f"share_exposed must lie between 0 and 1, got {share_exposed:g}")
    return share_exposed * (1 - share_exposed)


def _risk_variance(events: int, n: int) -> float:
    if not 0 <= events <= n:
        raise ValueError(f"events must lie between 0 and n, got {events} of {n}")
    return events / n * (1 - events / n) if n else 0.0


def _inflated(information: float, design_effect: float, explained: float) -> float:
    if not 0 <= explained < 1:
        raise ValueError(f"explained must lie between 0 and 1, got {explained:g}")
    return design_effect / (information * (1 - explained)) if information else float("inf")


def _interval(measure: str, variance: float, settings: tuple[float, str]) -> ExpectedInterval:
    confidence, formula = settings
    error = float(np.sqrt(variance))
    width = 2 * normal_quantile(confidence) * error
    ratio = None if measure == "risk_difference" else float(np.exp(min(width, 700.0)))
    return ExpectedInterval(
        measure=measure,
        std_error=error,
        width=width,
        high_over_low=ratio,
        confidence=confidence,
        formula=formula,
    )
