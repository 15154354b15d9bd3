"""How a number is printed: the only place of the project where a number is rounded.

Rules: risks per 100 without decimals when fewer than 100 stifles stand behind them, else with
one; an interval with the digits of its estimate; p as journals print it; what is not finite is
a defect and never printed.
"""

import math

from shared.estimate import Estimate

NOT_GIVEN = "not given"
MINUS = "\u2212"
PER_HUNDRED = frozenset({"proportion", "risk", "risk_difference", "completeness",
                         "calibration_error", "profile_risk", "mean_count", "mean_count_difference",
                         "cumulative_rate"})  # fmt: skip
RATIOS = frozenset(
    {
        "risk_ratio",
        "odds_ratio",
        "exact_odds_ratio",
        "mid_p_odds_ratio",
        "hazard_ratio",
        "subdistribution_hazard_ratio",
        "time_ratio",
        "rate_ratio",
        "restricted_mean_ratio",
        "mean_count_ratio",
        "standardised_ratio",
    }
)
COUNTED = frozenset({"count", "number_needed_to_treat"})
TWO_DECIMALS = frozenset({
    "standardised_difference", "concordance", "uno_concordance", "scaled_brier",
    "calibration_slope", "calibration_in_the_large", "observed_expected", "odds_ratio_without",
    "hazard_ratio_without",
    "random_intercept_sd", "latent_correlation", "cluster_correlation", "median_odds_ratio",
    "frailty_variance", "rank_correlation",
    "hazard_ratio_of_loss", "odds_ratio_of_known", "odds_ratio_at", "variance_inflation",
})  # fmt: skip
HIDDEN = frozenset({"small_count", "protects_small_count"})
LARGEST_RATIO = 1000
WORDS_OF_DAYS = {91: "3 months", 183: "6 months", 365: "12 months"}


def fixed(value: float, decimals: int) -> str:
    """Print with a fixed number of decimals, a real minus and commas between thousands.

    Raises
    ------
    ValueError
        If the value is not finite: it must not have come this far.
    """
    if not math.isfinite(value):
        raise ValueError(f"only finite numbers are printed, not {value!r}")
    text = f"{value:,.{decimals}f}"
    if text.strip("-0.,") == "":
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def whole(count: float) -> str:
    """Print a count: 3,412."""
    return fixed(round(count), 0)


def count_of(row: Estimate) -> str:
    """Print the count of a row; what may not be shown reads "<5", or "hidden"."""
    if row.estimate is not None:
        return whole(row.estimate)
    return "<5" if "small_count" in row.concerns else "hidden"


def factor_of(measure: str) -> float:
    """Give 100 for what is shown per 100, else 1."""
    return 100.0 if measure in PER_HUNDRED else 1.0


def decimals_of(row: Estimate) -> int:
    """Decimals of a row's estimate and of its interval."""
    if row.measure in COUNTED:
        return 0
    if row.measure in PER_HUNDRED:
        return 1 if (row.n or 0) >= 100 else 0
    size = abs(row.estimate or 0.0)
    if row.measure in RATIOS:
        return 2 if size < 10 else 1 if size < 100 else 0
    if row.measure in TWO_DECIMALS:
        return 2
    if row.measure == "brier":
        return 3
    return 0 if size >= 100 or size == int(size) else 1 if size >= 1 else 2


def shown(value: float, measure: str, decimals: int) -> str:
    """Print one value of a measure; a positive one too small for the digits reads "<0.01"."""
    scaled = value * factor_of(measure)
    if measure in RATIOS and scaled > LARGEST_RATIO:
        return f"over {LARGEST_RATIO}"
    smallest = 10.0**-decimals
    if measure in RATIOS and 0 < scaled < smallest / 2:
        return f"<{fixed(smallest, decimals)}"
    return fixed(scaled, decimals)


def estimate_text(row: Estimate) -> str:
    """Print the estimate of a row, or say that none is given."""
    if row.estimate is None:
        return "hidden" if HIDDEN & set(row.concerns) else NOT_GIVEN
    return shown(row.estimate, row.measure, decimals_of(row))


def interval_text(row: Estimate) -> str:
    """Print the interval of a row ("4 to 12"), empty where there is none."""
    if row.measure == "odds_ratio" and row.estimate is not None:
        return _ratio_interval(row)
    if row.estimate is None or row.low is None or row.high is None:
        return ""
    decimals = decimals_of(row)
    low, high = (shown(limit, row.measure, decimals) for limit in (row.low, row.high))
    return f"{low} to {high}"


def _ratio_interval(row: Estimate) -> str:
    """Print the interval of a ratio, of which an empty cell or few clusters leave an end open."""
    decimals = decimals_of(row)
    low, high = (
        None if limit is None else shown(limit, row.measure, decimals)
        for limit in (row.low, row.high)
    )
    if low is not None and high is not None:
        return f"{low} to {high}"
    return f"{low} or more" if low is not None else f"{high} or less" if high is not None else ""


def estimate_and_interval(row: Estimate) -> str:
    """Print "0.62 (0.41 to 0.94)"; a number needed to treat has its own words."""
    if row.measure == "number_needed_to_treat":
        return needed_text(row)
    interval = interval_text(row)
    return f"{estimate_text(row)} ({interval})" if interval else estimate_text(row)


def p_text(p_value: float | None) -> str:
    """Print a p value as journals do: 0.03, 0.004, <0.001; between 0.045 and 0.055 exactly."""
    if p_value is None:
        return ""
    if p_value < 0.001:
        return "<0.001"
    if p_value > 0.99:
        return ">0.99"
    return fixed(p_value, 3 if p_value < 0.01 or 0.045 <= p_value < 0.055 else 2)


def p_equation(p_value: float | None) -> str:
    """Print "p = 0.03" or "p < 0.001"."""
    text = p_text(p_value)
    return f"p {text[0]} {text[1:]}" if text[:1] in ("<", ">") else f"p = {text}"


def confidence_text(row: Estimate) -> str:
    """Print "95%"."""
    return f"{fixed(100 * (row.confidence or 0.95), 0)}%"


def day_text(day: float) -> str:
    """Say a day as owners and surgeons do: 365 is 12 months."""
    return WORDS_OF_DAYS.get(round(day), f"day {whole(day)}")


def more_or_fewer(difference: float, decimals: int = 0) -> str:
    """Say a difference of risks per 100 in words: "5 fewer", "1 more", "none"."""
    size = fixed(abs(100 * difference), decimals)
    if size.strip("0.") == "":
        return "none"
    return f"{size} {'fewer' if difference < 0 else 'more'}"


def needed_text(row: Estimate) -> str:
    """Say a number needed to treat; through infinity where the interval of the difference spans 0.

    Whole numbers away from exaggeration: benefit upwards, harm downwards (common practice, no
    source). The form with infinity follows Altman 1998 (from memory).
    """
    if row.estimate is None:
        return NOT_GIVEN
    if row.low is None or row.high is None:
        return _one_needed(row.estimate)
    if "interval_through_infinity" in row.concerns:
        spared, harmed = sorted((row.low, row.high))
        return (
            f"{_one_needed(row.estimate)} (from {_one_needed(spared)} "
            f"through infinity to {_one_needed(harmed)})"
        )
    nearest, furthest = sorted((row.low, row.high), key=abs)
    return f"{_one_needed(row.estimate)} ({_size(nearest)} to {_size(furthest)})"


def letter_of(place: int) -> str:
    """Give a to z, then aa, ab and so on."""
    first = "" if place < 26 else chr(ord("a") + place // 26 - 1)
    return first + chr(ord("a") + place % 26)


def _one_needed(value: float) -> str:
    return f"{_size(value)} treated per one {'spared' if value < 0 else 'harmed'}"


def _size(value: float) -> str:
    size = math.ceil(-value - 1e-9) if value < 0 else math.floor(value + 1e-9)
    return f"over {LARGEST_RATIO * 10:,}" if size > LARGEST_RATIO * 10 else whole(max(size, 1))
