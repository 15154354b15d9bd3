"""Survival of a row with given terms, by a fitted Cox model, with its limits."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, finite_vector
from analysis.chi_square import normal_quantile
from analysis.cox_result import CoxFit
from analysis.kernels.cox_likelihood import risk_sums
from analysis.kernels.cox_slots import on_all_slots


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PredictedSurvival:
    """Survival at some days; all arrays (k,). NaN where nobody was followed to the day."""

    day: FloatArray
    survival: FloatArray
    std_error: FloatArray  # of the cumulative hazard, which is minus the log of the survival
    low: FloatArray
    high: FloatArray


def predict_survival(
    fit: CoxFit, terms: npt.ArrayLike, days: npt.ArrayLike, *, confidence: float = 0.95
) -> PredictedSurvival:
    """Predict the survival of a row whose terms are given.

    Parameters
    ----------
    fit
        What ``fit_cox`` gave, without strata; it must hold a number for every term.
    terms
        Values of the terms, shape (p,).
    days
        Days at which survival is read, shape (k,).
    confidence
        Of the limits, on the log-log scale.

    Returns
    -------
    PredictedSurvival
        The exponent of minus the cumulative hazard (Breslow's, or Efron's with Efron's ties);
        errors [1]_ of the baseline and, by ``fit.covariance``, of the coefficients. R:
        ``survfit(coxph(...), newdata, conf.type = "log-log")``.

    Raises
    ------
    ValueError
        If the fit has strata or weights or lacks a number, or `terms` has the wrong length.

    Notes
    -----
    Events of other kinds are taken as losses: beside competing events this is no risk.

    References
    ----------
    .. [1] Tsiatis AA. Ann Stat 1981;9:93-108.
    """
    if fit.rows.strata is not None or fit.rows.weights is not None:
        raise ValueError("fit must have neither strata nor weights")
    if not np.isfinite(fit.coefficients).all() or not len(fit.data.rows):
        raise ValueError("fit must hold a number for every term")
    x = finite_vector(terms, "terms", rows=len(fit.names))
    asked, data = finite_vector(days, "days"), fit.data
    centred = (x - data.centre) / data.scale
    ratio = float(np.exp(centred @ fit.scaled_coefficients[:, 0]))
    hazard, square, means = (_to_days(fit, part, asked) for part in _steps(fit))
    far = (centred * hazard - means) * data.scale  # derivative over the coefficients, (k, p)
    variance = square[:, 0] + np.einsum("ij,jk,ik->i", far, fit.covariance, far)
    cumulated, error = hazard[:, 0] * ratio, ratio * np.sqrt(variance)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.exp(normal_quantile(confidence) * error / cumulated)
        low, high = np.exp(-cumulated * spread), np.exp(-cumulated / spread)
    beyond = asked > fit.rows.time.max()
    survival, error, low, high = (
        np.where(beyond, np.nan, one) for one in (np.exp(-cumulated), error, low, high)
    )
    return PredictedSurvival(day=asked, survival=survival, std_error=error, low=low, high=high)


def _steps(fit: CoxFit) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give at each event day the hazard, its variance, (K, 1), and hazard times means, (K, p).

    All of a row at the centre of the terms.
    """
    data = fit.data
    sums = risk_sums(data, fit.scaled_coefficients, None, fit.ties)
    s1, s1_deaths = sums.s1[:, 0], on_all_slots(data, sums.s1_deaths)[:, 0]
    shrink = float(np.exp(-sums.shift[0, 0]))
    means = sums.square_0 * s1 - sums.square_1 * s1_deaths
    return sums.hazard * shrink, sums.square_0 * shrink**2, means * shrink


def _to_days(fit: CoxFit, steps: FloatArray, days: FloatArray) -> FloatArray:
    """Sum the steps up to each day."""
    running = np.concatenate((np.zeros((1, steps.shape[1])), np.cumsum(steps, axis=0)))
    return running[np.searchsorted(fit.data.slot_day, days, side="right")]
