"""The result of a test with a chi-square reference."""

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, ndtri

from analysis.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """Chi-square statistic, its degrees of freedom and upper-tail p-value; NaN where undefined."""

    statistic: float
    df: int
    p_value: float


NO_TEST = Test(statistic=float("nan"), df=0, p_value=float("nan"))


def chi_square_test(statistic: float, df: int) -> Test:
    """Refer `statistic` to the chi-square distribution with `df` degrees of freedom.

    A statistic that rounding has put just below zero counts as zero.
    """
    if df < 1 or not np.isfinite(statistic):
        return NO_TEST
    at_least_nil = max(float(statistic), 0.0)
    return Test(statistic=at_least_nil, df=df, p_value=float(chdtrc(df, at_least_nil)))


def wald_test(coefficients: FloatArray, covariance: FloatArray) -> Test:
    """Test that all `coefficients`, shape (p,), are zero given their covariance, shape (p, p).

    Where the covariance has less than full rank (fewer clusters than coefficients) there is no
    such test: NaN.
    """
    if not coefficients.size or not np.isfinite(covariance).all():
        return NO_TEST
    if np.linalg.matrix_rank(covariance, hermitian=True) < coefficients.size:
        return NO_TEST
    solved = np.linalg.solve(covariance, coefficients)
    return chi_square_test(float(coefficients @ solved), coefficients.size)


def normal_quantile(confidence: float) -> float:
    """Give z for a two-sided interval, 1.959964 at 0.95.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence:g}")
    return float(ndtri(0.5 + confidence / 2))


def one_sided_quantile(probability: float) -> float:
    """Give the z that a standard normal value stays below with a probability, 0.8416 at 0.8."""
    if not 0 < probability < 1:
        raise ValueError(f"probability must lie between 0 and 1, got {probability:g}")
    return float(ndtri(probability))


def wald_limits(
    coefficients: FloatArray, std_errors: FloatArray, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Give the limits z standard errors below and above the coefficients, both shape (p,)."""
    half = normal_quantile(confidence) * std_errors
    return coefficients - half, coefficients + half
