"""How many stifles or events a question needs before it is worth asking."""

from dataclasses import dataclass

import numpy as np

from analysis.chi_square import normal_quantile, one_sided_quantile

SHRINKAGE = 0.9  # expected shrinkage that Riley et al. ask for
OPTIMISM = 0.05  # largest difference of apparent and adjusted Nagelkerke R2
MARGIN = 0.05  # half width of the interval of the overall risk


@dataclass(frozen=True, slots=True, kw_only=True)
class Clustered:
    """What clustering and other terms do to a number: it is multiplied by `factor`.

    `design_effect` is 1 + (mean stifles of an animal - 1) times the intraclass correlation;
    `explained` the share of the exposure's variance that the other terms explain.
    """

    design_effect: float = 1.0
    explained: float = 0.0

    @property
    def factor(self) -> float:
        """How many times more are needed."""
        _share(self.explained, "explained", zero=True)
        if self.design_effect < 1:
            raise ValueError(f"design_effect must be at least 1, got {self.design_effect:g}")
        return self.design_effect / (1 - self.explained)


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictionSize:
    """Stifles needed to develop a prediction model, one number a criterion; the largest counts."""

    shrinkage: float
    optimism: float
    overall_risk: float | None  # None where the outcome is a time
    events: float
    events_per_parameter: float

    @property
    def n(self) -> float:
        """The largest of the criteria."""
        return max(self.shrinkage, self.optimism, self.overall_risk or 0.0)


def design_effect_of(mean_size: float, correlation: float) -> float:
    """Give 1 + (m - 1) rho, m stifles an animal on average (Kish 1965).

    Raises
    ------
    ValueError
        If `mean_size` is below 1 or `correlation` outside 0 to 1.
    """
    if mean_size < 1 or not 0 <= correlation <= 1:
        raise ValueError(
            f"mean_size must be at least 1 and correlation between 0 and 1, got {mean_size:g} "
            f"and {correlation:g}"
        )
    return 1 + (mean_size - 1) * correlation


def events_for_hazard_ratio(
    ratio: float, *, share_exposed: float, power: float, alpha: float = 0.05
) -> float:
    """Events that find a hazard ratio of two arms, two-sided.

    Raises
    ------
    ValueError
        If the ratio is not above 0 or is 1, or a share lies outside 0 to 1.

    References
    ----------
    .. [1] Schoenfeld DA. Biometrics 1983;39:499-503.
    """
    _share(share_exposed, "share_exposed")
    return _squared(power, alpha) / (share_exposed * (1 - share_exposed) * _log(ratio) ** 2)


def events_for_continuous_hazard_ratio(
    ratio: float, *, deviation: float, power: float, alpha: float = 0.05, sides: int = 2
) -> float:
    """Events that find a hazard ratio per unit of a term with a standard deviation.

    References
    ----------
    .. [1] Hsieh FY, Lavori PW. Control Clin Trials 2000;21:552-560 (one-sided there).
    """
    if deviation <= 0:
        raise ValueError(f"deviation must be above 0, got {deviation:g}")
    return _squared(power, alpha, sides=sides) / (deviation * _log(ratio)) ** 2


def n_for_two_risks(
    one: float, other: float, *, power: float, alpha: float = 0.05, ratio: float = 1.0
) -> float:
    """Stifles in the first arm, `ratio` times as many in the second, two-sided, no correction.

    Pooled variance under no difference, unpooled under the difference.

    References
    ----------
    .. [1] Fleiss JL, Levin B, Paik MC. Statistical Methods for Rates and Proportions, 3rd ed.
       Wiley 2003, chapter 4.
    """
    _share(one, "one")
    _share(other, "other")
    if one == other or ratio <= 0:
        raise ValueError(f"the risks must differ and ratio be above 0, got {one:g}, {ratio:g}")
    mean = (one + ratio * other) / (1 + ratio)
    under_none = normal_quantile(1 - alpha) * np.sqrt((1 + 1 / ratio) * mean * (1 - mean))
    under_some = _power(power) * np.sqrt(one * (1 - one) + other * (1 - other) / ratio)
    return float((under_none + under_some) ** 2 / (one - other) ** 2)


def with_continuity(n: float, one: float, other: float, *, ratio: float = 1.0) -> float:
    """Add the correction for continuity to a number of ``n_for_two_risks`` (Fleiss 2003)."""
    gap = 2 * (ratio + 1) / (ratio * n * abs(one - other))
    return float(n / 4 * (1 + np.sqrt(1 + gap)) ** 2)


def n_for_odds_ratio(
    one: float, other: float, *, share_exposed: float, power: float, alpha: float = 0.05
) -> float:
    """Stifles in all that a logistic model needs for a two-armed term with these risks.

    References
    ----------
    .. [1] Hsieh FY, Bloch DA, Larsen MD. Stat Med 1998;17:1623-1634.
    """
    for value, name in ((one, "one"), (other, "other"), (share_exposed, "share_exposed")):
        _share(value, name)
    if one == other:
        raise ValueError(f"the risks must differ, got {one:g} twice")
    mean = (1 - share_exposed) * one + share_exposed * other
    under_none = normal_quantile(1 - alpha) * np.sqrt(mean * (1 - mean) / share_exposed)
    spread = one * (1 - one) + other * (1 - other) * (1 - share_exposed) / share_exposed
    top = (under_none + _power(power) * np.sqrt(spread)) ** 2
    return float(top / ((one - other) ** 2 * (1 - share_exposed)))


def n_for_continuous_odds_ratio(
    risk_at_mean: float, ratio: float, *, power: float, alpha: float = 0.05
) -> float:
    """Stifles in all for an odds ratio per standard deviation of a term (Hsieh 1998)."""
    _share(risk_at_mean, "risk_at_mean")
    return _squared(power, alpha) / (risk_at_mean * (1 - risk_at_mean) * _log(ratio) ** 2)


def prediction_size(parameters: int, r_squared: float, *, risk: float) -> PredictionSize:
    """Stifles needed to develop a model of a yes/no outcome.

    Parameters
    ----------
    parameters
        Candidate parameters, not variables.
    r_squared
        Cox-Snell R2 to be expected.
    risk
        Overall risk of the outcome.

    References
    ----------
    .. [1] Riley RD et al. BMJ 2020;368:m441; Stat Med 2019;38:1276-1296.
    """
    _share(risk, "risk")
    greatest = 1 - np.exp(2 * (risk * np.log(risk) + (1 - risk) * np.log1p(-risk)))
    overall = (1.96 / MARGIN) ** 2 * risk * (1 - risk)
    return _prediction(parameters, r_squared, float(greatest), overall=overall, events=risk)


def prediction_size_of_times(
    parameters: int, r_squared: float, *, rate: float, mean_follow_up: float
) -> PredictionSize:
    """Stifles needed to develop a model of times; `rate` events a unit of time (Riley 2019)."""
    expected = rate * mean_follow_up
    if expected <= 0:
        raise ValueError(f"rate and mean_follow_up must be above 0, got {rate:g}")
    greatest = 1 - np.exp(2 * (expected * np.log(expected) - expected))
    return _prediction(parameters, r_squared, float(greatest), overall=None, events=expected)


def _prediction(
    parameters: int, r_squared: float, greatest: float, *, overall: float | None, events: float
) -> PredictionSize:
    if parameters < 1:
        raise ValueError(f"parameters must be at least 1, got {parameters}")
    if not 0 < r_squared < greatest:
        raise ValueError(f"r_squared must lie between 0 and {greatest:.3f}, got {r_squared:g}")
    sizes = [
        parameters / ((share - 1) * np.log(1 - r_squared / share))
        for share in (SHRINKAGE, r_squared / (r_squared + OPTIMISM * greatest))
    ]
    n = max(*sizes, overall or 0.0)
    return PredictionSize(
        shrinkage=float(sizes[0]), optimism=float(sizes[1]), overall_risk=overall,
        events=float(n * events), events_per_parameter=float(n * events / parameters),
    )  # fmt: skip


def _squared(power: float, alpha: float, *, sides: int = 2) -> float:
    _share(alpha, "alpha")
    from_alpha = normal_quantile(1 - alpha) if sides == 2 else one_sided_quantile(1 - alpha)
    return (from_alpha + _power(power)) ** 2


def _power(power: float) -> float:
    _share(power, "power")
    return one_sided_quantile(power)


def _log(ratio: float) -> float:
    if ratio <= 0 or ratio == 1:
        raise ValueError(f"ratio must be above 0 and not 1, got {ratio:g}")
    return float(np.log(ratio))


def _share(value: float, name: str, *, zero: bool = False) -> None:
    if not (value >= 0 if zero else value > 0) or not value < 1:
        raise ValueError(f"{name} must lie between 0 and 1, got {value:g}")
