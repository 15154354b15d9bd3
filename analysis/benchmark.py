"""Observed against expected: exact limits, funnel limits, and more spread than chance."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, gammaincinv, pdtr

from analysis.arrays import finite_vector
from analysis.chi_square import Test, chi_square_test, normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardisedRatio:
    """Observed over expected, with limits that take the expected number as known."""

    observed: int
    expected: float
    ratio: float
    low: float
    high: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Overdispersion:
    """How much more the units differ than chance allows.

    `phi` is the mean squared z, 1 by chance alone; `tau_squared` is the variance between units
    on the scale of the values, 0 where they differ no more than by chance.
    """

    phi: float
    phi_winsorised: float
    tau_squared: float
    test: Test  # of no spread beyond chance, from the values before winsorising
    n_units: int


def observed_expected(
    observed: int,
    expected: float,
    *,
    confidence: float = 0.95,
    method: Literal["exact", "byar"] = "exact",
) -> StandardisedRatio:
    """Give observed over expected with Poisson limits.

    Parameters
    ----------
    observed
        Number of events seen.
    expected
        Number expected from a model without the unit, > 0.
    method
        "exact": half of the error on each side [1]_ [2]_, 0 to 3.689 for no event; "byar": the
        closed approximation, with one more event in the upper limit [3]_.

    Raises
    ------
    ValueError
        If `observed` is negative or `expected` is not above zero.

    Notes
    -----
    R: ``qchisq(.025, 2 * O) / 2 / E``, ``qchisq(.975, 2 * (O + 1)) / 2 / E``.

    References
    ----------
    .. [1] Garwood F. Biometrika 1936;28:437-442.
    .. [2] Ulm K. Am J Epidemiol 1990;131:373-375.
    .. [3] Breslow NE, Day NE. Statistical Methods in Cancer Research II. IARC 1987, p. 69.
    """
    if observed < 0:
        raise ValueError(f"observed must not be negative, got {observed}")
    if not (expected > 0 and np.isfinite(expected)):
        raise ValueError(f"expected must be above zero, got {expected:g}")
    z = normal_quantile(confidence)
    low, high = _exact(observed, confidence) if method == "exact" else _byar(observed, z)
    return StandardisedRatio(
        observed=observed,
        expected=expected,
        ratio=observed / expected,
        low=low / expected,
        high=high / expected,
        confidence=confidence,
        method="exact Poisson" if method == "exact" else "Byar",
    )


def funnel_limits(
    expected: float, *, level: float = 0.95, target: float = 1.0
) -> tuple[float, float]:
    """Give the limits between which observed / expected falls by chance, for one expected number.

    Exact Poisson quantiles joined by straight lines [1]_, so that the funnel has no steps. The
    lower limit is 0 where even no event would not be surprising.

    Raises
    ------
    ValueError
        If `expected` or `target` is not above zero.

    References
    ----------
    .. [1] Spiegelhalter DJ. Stat Med 2005;24:1185-1202, appendix A.1.
    """
    if not (expected > 0 and target > 0):
        raise ValueError(f"expected and target must be above zero, got {expected:g}, {target:g}")
    normal_quantile(level)
    mean = expected * target
    top = int(mean + 12 * np.sqrt(mean) + 30)
    cumulative = pdtr(np.arange(top + 1), mean)
    low, high = (_interpolated(cumulative, p) / expected for p in _tails(level))
    return low, high


def funnel_limits_binomial(n: int, share: float, *, level: float = 0.95) -> tuple[float, float]:
    """Give the limits between which a proportion of `n` falls by chance around `share`.

    As ``funnel_limits``, with exact binomial quantiles.
    """
    if n < 1 or not 0 < share < 1:
        raise ValueError(f"n must be at least 1 and share between 0 and 1, got {n}, {share:g}")
    normal_quantile(level)
    cumulative = bdtr(np.arange(n + 1), n, share)
    low, high = (_interpolated(cumulative, p) / n for p in _tails(level))
    return low, high


def overdispersion(
    values: npt.ArrayLike,
    std_errors: npt.ArrayLike,
    target: float,
    *,
    winsorise: float = 0.1,
) -> Overdispersion:
    """Compare the spread of units around `target` with what their errors allow.

    Parameters
    ----------
    values, std_errors
        One a unit, on a scale where the error does not hang on the value, shape (k,):
        the root of observed / expected with error 1 / (2 sqrt(expected)), or the arcsine of the
        root of a proportion with error 1 / (2 sqrt(n)).
    winsorise
        Share of units at each end whose z is pulled in before `phi_winsorised` and
        `tau_squared` are taken, so that outliers do not excuse themselves.

    References
    ----------
    .. [1] Spiegelhalter DJ. Stat Med 2005;24:1185-1202, section on over-dispersion.
    """
    seen = finite_vector(values, "values")
    errors = finite_vector(std_errors, "std_errors", rows=len(seen))
    if len(seen) < 2 or errors.min() <= 0:
        raise ValueError("overdispersion needs two units or more, each with an error above zero")
    z = (seen - target) / errors
    pulled = np.clip(z, *np.quantile(z, [winsorise, 1 - winsorise]))
    phi, units = float((pulled**2).mean()), len(z)
    w = errors**-2.0
    between = (units * phi - (units - 1)) / (w.sum() - (w**2).sum() / w.sum())
    return Overdispersion(
        phi=float((z**2).mean()),
        phi_winsorised=phi,
        tau_squared=max(0.0, float(between)),
        test=chi_square_test(float((z**2).sum()), units),
        n_units=units,
    )


def _exact(observed: int, confidence: float) -> tuple[float, float]:
    tail = (1 - confidence) / 2
    low = float(gammaincinv(observed, tail)) if observed else 0.0
    return low, float(gammaincinv(observed + 1, 1 - tail))


def _byar(observed: int, z: float) -> tuple[float, float]:
    def cube(count: int, sign: float) -> float:
        return float(count * (1 - 1 / (9 * count) + sign * z / (3 * np.sqrt(count))) ** 3)

    low = max(0.0, cube(observed, -1)) if observed else 0.0
    return low, cube(observed + 1, 1)


def _tails(level: float) -> tuple[float, float]:
    return (1 - level) / 2, (1 + level) / 2


def _interpolated(cumulative: npt.NDArray[np.float64], p: float) -> float:
    """Place the quantile between r - 1 and r, by where p lies between F(r - 1) and F(r)."""
    r = int(np.searchsorted(cumulative, p))
    before = float(cumulative[r - 1]) if r else 0.0
    share = (float(cumulative[r]) - p) / (float(cumulative[r]) - before)
    return max(0.0, r - share)
