"""Baseline hazard of a fitted Cox model and the events it expects in each row."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.arrays import FloatArray, IntArray
from analysis.cox_result import CoxFit
from analysis.firth_cox import FirthCoxFit
from analysis.kernels.cox_influence import expected_events, hazard_steps
from analysis.kernels.cox_likelihood import RiskSums, risk_sums


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BaselineHazard:
    """Cumulative baseline hazard at the days with events, stratum by stratum; shapes (K,).

    `cumulative_hazard` is that of a row whose terms are all at `centre`, shape (p,).
    """

    day: FloatArray
    stratum: IntArray
    cumulative_hazard: FloatArray
    centre: FloatArray


def baseline_cumulative_hazard(
    fit: CoxFit | FirthCoxFit, *, centred: bool = True
) -> BaselineHazard:
    """Estimate the cumulative baseline hazard, in the way of the fit's ties.

    Breslow's estimate, or Efron's for Efron's ties. `centred`: at the mean of the terms among the
    rows at risk; else at zero. R: ``basehaz``.

    Raises
    ------
    ValueError
        If the fit holds no number for a term.
    """
    sums = _sums(fit)
    steps = hazard_steps(fit.data, sums)[:, 0]
    parts = pairwise(fit.data.slot_bounds)
    total = np.concatenate([np.cumsum(steps[low:high]) for low, high in parts])
    centre = fit.data.centre
    if not centred:
        total = total * np.exp(-float(centre @ fit.coefficients))
        centre = np.zeros_like(centre)
    return BaselineHazard(
        day=fit.data.slot_day, stratum=fit.data.slot_stratum, cumulative_hazard=total, centre=centre
    )


def expected_by_row(fit: CoxFit | FirthCoxFit) -> FloatArray:
    """Give the expected events of each row over its own follow-up, shape (n,), per unit of weight.

    Event less expected is the martingale residual; weighted, expected and observed events have
    the same sum. Rows of weight zero are not among the n. R: ``predict(type = "expected")``.

    Raises
    ------
    ValueError
        If the fit holds no number for a term.
    """
    sums = _sums(fit)
    out = np.zeros(fit.data.n_rows)
    out[fit.data.rows] = expected_events(fit.data, sums)
    return out


def _sums(fit: CoxFit | FirthCoxFit) -> RiskSums:
    if not np.isfinite(fit.coefficients).all() or not len(fit.data.rows):
        raise ValueError("fit must hold a number for every term")
    weights = fit.rows.weights
    return risk_sums(
        fit.data,
        (fit.coefficients * fit.data.scale)[:, None],
        None if weights is None else weights[fit.data.rows][:, None],
        fit.ties,
    )
