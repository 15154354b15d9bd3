"""How a Cox coefficient runs over time: a smooth of scaled Schoenfeld residuals with its band."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from analysis.chi_square import normal_quantile
from analysis.cox_diagnostics import Transform, time_on_scale
from analysis.cox_residuals import schoenfeld_residuals
from analysis.cox_result import CoxFit
from analysis.spline import restricted_cubic_basis

COLUMNS = 4  # of the natural spline, the constant among them


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoefficientOverTime:
    """Scaled residuals of one term's events and their smooth at `places` of transformed time."""

    day: FloatArray  # (d,) of each event
    at: FloatArray  # (d,) the day on the scale of the transform
    residual: FloatArray  # (d,) the coefficient as each event has it
    places: FloatArray  # (k,) on the scale of the transform
    place_day: FloatArray  # (k,) the day there, between event days
    estimate: FloatArray  # (k,)
    std_error: FloatArray  # (k,)
    low: FloatArray  # (k,)
    high: FloatArray  # (k,)


def coefficient_over_time(
    fit: CoxFit,
    term: str,
    *,
    transform: Transform = "km",
    places: int = 40,
    confidence: float = 0.95,
) -> CoefficientOverTime | None:
    """Smooth the scaled Schoenfeld residuals of one term over transformed time.

    Parameters
    ----------
    fit
        What ``fit_cox`` gave; it must hold a number for every term.
    transform
        Function of time, as in ``proportional_hazards_test``.
    places
        How many places of the smooth are given, evenly over the scale.

    Returns
    -------
    CoefficientOverTime or None
        None where the events have too few distinct days for the smooth.

    Raises
    ------
    ValueError
        If `term` is no column of the fit, or the fit holds no number for a term.

    Notes
    -----
    Least squares on a natural spline of 4 columns; the band takes residuals as having the mean
    variance of the coefficient, as R's ``plot(cox.zph(fit))`` does (there with 2 errors).

    References
    ----------
    .. [1] Grambsch PM, Therneau TM. Biometrika 1994;81:515-526.
    """
    if term not in fit.names:
        raise ValueError(f"term must be one of {', '.join(fit.names)}, got {term!r}")
    found, place = schoenfeld_residuals(fit), fit.names.index(term)
    at = time_on_scale(fit, transform)[found.slot]
    if len(np.unique(at)) <= COLUMNS:
        return None
    grid = np.linspace(at.min(), at.max(), places)
    own, drawn = _natural_spline(np.concatenate((grid, at)), (at, grid))
    inverse = np.linalg.inv(own.T @ own)
    height = drawn @ (inverse @ (own.T @ found.scaled[:, place]))
    variance = fit.covariance_model[place, place] * len(at)
    error = np.sqrt(variance * np.einsum("ij,jk,ik->i", drawn, inverse, drawn))
    reach = normal_quantile(confidence) * error
    order = np.argsort(at, kind="stable")
    return CoefficientOverTime(
        day=found.day, at=at, residual=found.scaled[:, place], places=grid,
        place_day=np.interp(grid, at[order], found.day[order]), estimate=height,
        std_error=error, low=height - reach, high=height + reach,
    )  # fmt: skip


def _natural_spline(
    all_values: FloatArray, wanted: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Give the columns at two sets of values; knots at the ends and thirds of all values."""
    low, width = float(all_values.min()), float(np.ptp(all_values))
    knots = np.quantile((all_values - low) / width, np.linspace(0, 1, COLUMNS))
    first, second = (
        np.column_stack((np.ones(len(one)), restricted_cubic_basis((one - low) / width, knots)))
        for one in wanted
    )
    return first, second
