"""Effects between two sets of values of a model's terms, with limits: by stratum, along a curve."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, stdtr, stdtrit

from analysis.arrays import FloatArray, finite_matrix
from analysis.chi_square import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinearEffects:
    """Differences of the linear predictor: log odds ratios of a logistic model; shape (k,) each."""

    estimate: FloatArray
    std_error: FloatArray  # 0 where the two sets of values agree
    low: FloatArray
    high: FloatArray
    p_value: FloatArray  # NaN where the two sets of values agree


def linear_effects(
    coefficients: FloatArray,
    covariance: FloatArray,
    one: npt.ArrayLike,
    zero: npt.ArrayLike,
    *,
    confidence: float = 0.95,
    df: float | None = None,
) -> LinearEffects:
    """Give the effect of each row of `one` against the same row of `zero`.

    Parameters
    ----------
    coefficients, covariance
        Of a fit with its intercept first, shape (p,) and (p, p); cluster-robust or not.
    one, zero
        Rows of the design, shape (k, p - 1).
    df
        Degrees of freedom of a t reference; None: the normal distribution.

    Returns
    -------
    LinearEffects
        Wald limits: with d the difference of the rows, d b with variance d V d'. For a spline d
        holds all its columns; for an interaction also the products.

    Raises
    ------
    ValueError
        If the rows do not fit the model.

    References
    ----------
    .. [1] Harrell FE. Regression Modeling Strategies, 2nd ed. Springer 2015, section 5.1.
    .. [2] Figueiras A et al. Stat Med 1998;17:2099-2105, for interactions.
    """
    upper, lower = finite_matrix(one, "one"), finite_matrix(zero, "zero")
    if upper.shape != lower.shape or upper.shape[1] != len(coefficients) - 1:
        raise ValueError(
            f"one and zero must have shape (k, {len(coefficients) - 1}), got {upper.shape} "
            f"and {lower.shape}"
        )
    apart = upper - lower
    estimate = apart @ coefficients[1:]
    variance = np.einsum("ij,jk,ik->i", apart, covariance[1:, 1:], apart)
    error = np.sqrt(np.maximum(variance, 0.0))
    quantile = normal_quantile(confidence) if df is None else stdtrit(df, 0.5 + confidence / 2)
    half = float(quantile) * error
    z = np.divide(np.abs(estimate), error, out=np.full(len(error), np.nan), where=error > 0)
    return LinearEffects(
        estimate=estimate, std_error=error, low=estimate - half, high=estimate + half,
        p_value=2 * np.asarray(ndtr(-z) if df is None else stdtr(df, -z)),
    )  # fmt: skip
