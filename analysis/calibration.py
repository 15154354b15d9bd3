"""Whether predicted risks are as high as what is seen: intercept, slope, curve, squared error."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    finite_vector,
    inverse,
    non_negative,
    zero_one,
)
from analysis.chi_square import normal_quantile
from analysis.kernels.logistic import curvature_batch, fit_logistic_batch, fitted_risks
from analysis.sandwich import cluster_sandwich
from analysis.scaling import scaled_design
from analysis.spline import knots_at_quantiles, restricted_cubic_basis

KNOTS = (4, 3)  # of the flexible curve: the first number that has distinct places


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """An estimate with its error and limits; NaN where it has none."""

    estimate: float
    std_error: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CalibrationCurve:
    """Observed risk by predicted risk, and how far the two lie apart over the rows."""

    predicted: FloatArray  # (k,)
    observed: FloatArray  # (k,), with limits
    low: FloatArray
    high: FloatArray
    mean_distance: float
    largest_distance: float
    knots: int  # 2: a straight line on the logit scale


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Checked rows: log odds of the predicted risk, outcome, weight, cluster."""

    linear: FloatArray
    y: FloatArray
    weights: FloatArray
    codes: IntArray | None


def calibration_in_the_large(
    risk: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
    confidence: float = 0.95,
) -> Measured:
    """Give how much higher the log odds seen are than predicted: 0 is perfect [1]_.

    The intercept of a logistic model with the predicted log odds as offset. Errors are
    cluster-robust (CR1) where `cluster` is given. NaN where all outcomes agree.

    References
    ----------
    .. [1] Cox DR. Biometrika 1958;45:562-565.
    .. [2] Steyerberg EW. Clinical Prediction Models, 2nd ed. Springer 2019, chapter 15.
    """
    rows = _checked(risk, y, weights, cluster)
    beta, covariance = _fit(np.ones((len(rows.y), 1)), rows, offset=rows.linear)
    return _measured(beta[0], covariance[0, 0], confidence)


def calibration_slope(
    risk: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
    confidence: float = 0.95,
) -> Measured:
    """Give the slope of the outcome on the predicted log odds: below 1, risks are too extreme.

    Arguments and errors as for ``calibration_in_the_large``. NaN where it has no maximum.
    """
    rows = _checked(risk, y, weights, cluster)
    if np.ptp(rows.linear) < 1e-12:
        return _measured(np.nan, np.nan, confidence)
    z, back = scaled_design(rows.linear[:, None])
    beta, covariance = _fit(z, rows)
    return _measured((back @ beta)[1], (back @ covariance @ back.T)[1, 1], confidence)


def calibration_curve(
    risk: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    points: int = 40,
    weights: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
    confidence: float = 0.95,
) -> CalibrationCurve | None:
    """Give the risk seen at each predicted risk, by a restricted cubic spline of its log odds.

    Parameters
    ----------
    risk, y, weights, cluster
        As for ``calibration_in_the_large``.
    points
        Places of the curve, even in log odds between the 1st and 99th centile of `risk`.

    Returns
    -------
    CalibrationCurve or None
        Pointwise limits on the logit scale; `mean_distance` is the integrated calibration index
        [1]_ over the rows. None where the curve has no maximum.

    References
    ----------
    .. [1] Austin PC, Steyerberg EW. Stat Med 2019;38:4051-4065.
    .. [2] Van Calster B et al. J Clin Epidemiol 2016;74:167-176.
    """
    rows = _checked(risk, y, weights, cluster)
    if np.ptp(rows.linear) < 1e-12:
        return None
    knots = _knots(rows.linear)
    z, back = scaled_design(_basis(rows.linear, knots))
    beta, covariance = _fit(z, rows)
    if not np.isfinite(beta).all():
        return None
    first, last = (float(end) for end in np.quantile(rows.linear, (0.01, 0.99)))
    at = np.linspace(first, last, points)
    places = np.column_stack([np.ones(points), _basis(at, knots)]) @ back
    half = normal_quantile(confidence) * np.sqrt(
        np.einsum("ij,jk,ik->i", places, covariance, places)
    )
    apart = np.abs(expit(z @ beta) - expit(rows.linear))
    return CalibrationCurve(
        predicted=expit(at), observed=expit(places @ beta), low=expit(places @ beta - half),
        high=expit(places @ beta + half),
        mean_distance=float(np.average(apart, weights=rows.weights)),
        largest_distance=float(apart.max()), knots=2 if knots is None else len(knots),
    )  # fmt: skip


def brier_score(
    risk: npt.ArrayLike, y: npt.ArrayLike, *, weights: npt.ArrayLike | None = None
) -> tuple[float, float]:
    """Give the mean squared error of the risks, and its share of what knowing nothing leaves.

    Returns
    -------
    score, scaled
        Brier's score [1]_, and 1 - score / (p (1 - p)) with p the share with the outcome: 1 is
        perfect, 0 no better than the share itself. NaN where all outcomes agree.

    References
    ----------
    .. [1] Brier GW. Mon Weather Rev 1950;78:1-3.
    .. [2] Steyerberg EW et al. Epidemiology 2010;21:128-138.
    """
    predicted = finite_vector(risk, "risk")
    outcome = zero_one(y, "y", rows=len(predicted))
    w = np.ones(len(outcome)) if weights is None else non_negative(
        weights, "weights", rows=len(outcome))  # fmt: skip
    score = float(np.average((predicted - outcome) ** 2, weights=w))
    share = float(np.average(outcome, weights=w))
    spread = share * (1 - share)
    return score, 1 - score / spread if spread else float("nan")


def _checked(
    risk: npt.ArrayLike,
    y: npt.ArrayLike,
    weights: npt.ArrayLike | None,
    cluster: npt.ArrayLike | None,
) -> _Rows:
    predicted = finite_vector(risk, "risk")
    n = len(predicted)
    if n and (predicted.min() <= 0 or predicted.max() >= 1):
        raise ValueError("risk must lie between 0 and 1, ends excluded")
    outcome = zero_one(y, "y", rows=n)
    w = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    codes = None if cluster is None else cluster_codes(cluster, rows=n)[0]
    used = w > 0
    return _Rows(
        logit(predicted[used]), outcome[used], w[used], None if codes is None else codes[used]
    )


def _fit(
    z: FloatArray, rows: _Rows, *, offset: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Fit a logistic model; give coefficients and covariance, NaN without a maximum."""
    p, w = z.shape[1], rows.weights[:, None]
    nothing = np.full(p, np.nan), np.full((p, p), np.nan)
    if not 0 < rows.y.sum() < len(rows.y):
        return nothing
    batch = fit_logistic_batch(z, rows.y, w, offset=offset)
    if not batch.converged[0]:
        return nothing
    beta = batch.coefficients[:, 0]
    bread = inverse(curvature_batch(z, rows.y, batch.coefficients, w, offset=offset)[1][:, :, 0])
    if rows.codes is None:
        return beta, bread
    residual = rows.weights * (rows.y - fitted_risks(z @ beta + (0 if offset is None else offset)))
    return beta, cluster_sandwich(z, residual, bread, codes=rows.codes, correction="CR1")[0]


def _knots(linear: FloatArray) -> FloatArray | None:
    for count in KNOTS:
        try:
            return knots_at_quantiles(linear, count)
        except ValueError:  # too few distinct risks
            continue
    return None


def _basis(linear: FloatArray, knots: FloatArray | None) -> FloatArray:
    return linear[:, None] if knots is None else restricted_cubic_basis(linear, knots)


def _measured(estimate: float, variance: float, confidence: float) -> Measured:
    error = float(np.sqrt(variance))
    half = normal_quantile(confidence) * error
    return Measured(
        estimate=float(estimate), std_error=error, low=float(estimate - half),
        high=float(estimate + half),
    )  # fmt: skip
