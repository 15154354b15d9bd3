"""A log odds ratio from one count, all else held: conditional estimate, median, exact limits.

Given its margins a table leaves one count whose chances are ``ways * exp(beta * count)``; so does a
logistic model given the totals of its other terms.
"""

from collections.abc import Callable

import numpy as np
from scipy.optimize import root_scalar
from scipy.special import logsumexp

from analysis.arrays import FloatArray

WIDEST = 60.0  # log odds ratios are looked for between -60 and 60


def conditional_ratio(log_ways: FloatArray, at: int) -> float:
    """Give the odds ratio under which the count seen is the one expected.

    0 or infinite where it lies at an end of what can happen; NaN where nothing else can.

    Parameters
    ----------
    log_ways
        Log of the ways to each count from the least that can happen to the greatest, shape (k,);
        -inf where a count between them cannot.
    at
        Place of the count seen.
    """
    last = len(log_ways) - 1
    if not last:
        return float("nan")
    if at in (0, last):
        return 0.0 if at == 0 else float("inf")
    return _solve(lambda tilt: _expected(tilt, log_ways) - at)


def median_unbiased_ratio(log_ways: FloatArray, at: int) -> float:
    """Give the odds ratio that is too low as often as too high; finite where anything else can be.

    At an end of what can happen, that under which the count seen has a chance of one half.
    """
    last = len(log_ways) - 1
    if not last:
        return float("nan")
    share = 0.5 if 0 < at < last else float(at == last)
    return _solve(lambda tilt: upper_tail(tilt, log_ways, at, share=share) - 0.5)


def exact_limits(
    log_ways: FloatArray, at: int, *, share: float, confidence: float
) -> tuple[float, float]:
    """Give the limits of two one-sided tests; `share` of the count seen belongs to each tail."""
    last, alpha = len(log_ways) - 1, (1 - confidence) / 2
    low, high = 0.0, float("inf")
    if at > 0:
        low = _solve(lambda tilt: upper_tail(tilt, log_ways, at, share=share) - alpha)
    if at < last:
        high = _solve(lambda tilt: upper_tail(tilt, log_ways, at, share=1 - share) + alpha - 1)
    return low, high


def upper_tail(tilt: float, log_ways: FloatArray, at: int, *, share: float) -> float:
    """Give the chance of more than the count seen and a share of it, under a log odds ratio."""
    chances = count_chances(tilt, log_ways)
    return float(chances[at + 1 :].sum() + share * chances[at])


def count_chances(tilt: float, log_ways: FloatArray) -> FloatArray:
    """Give the chance of each count under a log odds ratio."""
    tilted = log_ways + tilt * np.arange(len(log_ways))
    return np.exp(tilted - logsumexp(tilted))


def _expected(tilt: float, log_ways: FloatArray) -> float:
    return float(count_chances(tilt, log_ways) @ np.arange(len(log_ways)))


def _solve(gap: Callable[[float], float]) -> float:
    found = root_scalar(gap, bracket=(-WIDEST, WIDEST), method="brentq", xtol=1e-13)
    return float(np.exp(found.root))
