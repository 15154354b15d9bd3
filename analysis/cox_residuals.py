"""Residuals of a fitted Cox model, and what each row or cluster does to its coefficients."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, IntArray, labelled
from analysis.cox_baseline import expected_by_row
from analysis.cox_result import CoxFit
from analysis.kernels.cox_influence import score_residuals
from analysis.kernels.cox_likelihood import RiskSums, risk_sums
from analysis.kernels.cox_slots import on_all_slots


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SchoenfeldResiduals:
    """One residual an event and term, stratum by stratum and day by day; d events, p terms."""

    row: IntArray  # (d,) place of the event among the rows of the fit
    slot: IntArray  # (d,) its day within its stratum, as in ``fit.data``
    day: FloatArray  # (d,)
    residual: FloatArray  # (d, p) terms of the event less their mean among those at risk
    scaled: FloatArray  # (d, p) plus the coefficient: how the coefficient runs over time


def martingale_residuals(fit: CoxFit) -> FloatArray:
    """Give events less expected events of each row, shape (n,); their weighted sum is nil.

    R: ``residuals(type = "martingale")``.

    Raises
    ------
    ValueError
        If the fit holds no number for a term.
    """
    return fit.rows.event - expected_by_row(fit)


def deviance_residuals(fit: CoxFit) -> FloatArray:
    """Give martingale residuals brought nearer to a symmetric shape, shape (n,).

    R: ``residuals(type = "deviance")``. Therneau TM, Grambsch PM, Fleming TR. Biometrika
    1990;77:147-160.
    """
    martingale, event = martingale_residuals(fit), fit.rows.event
    expected = np.where(event > 0, event - martingale, 1.0)
    inside = martingale + event * np.log(expected)
    return np.sign(martingale) * np.sqrt(np.maximum(-2 * inside, 0.0))


def score_residuals_by_row(fit: CoxFit) -> FloatArray:
    """Give each row's part in the first derivative, per unit of its weight, shape (n, p).

    R: ``residuals(type = "score")``.

    Raises
    ------
    ValueError
        If the fit holds no number for a term.
    """
    out = np.zeros((fit.data.n_rows, len(fit.names)))
    out[fit.data.rows] = score_residuals(fit.data, _sums(fit)) * fit.data.scale
    return out


def dfbeta(fit: CoxFit, cluster: npt.ArrayLike | None = None) -> FloatArray:
    """Say by how much each row, or cluster, raises the coefficients; first order.

    Parameters
    ----------
    fit
        What ``fit_cox`` gave.
    cluster
        Label of each row's cluster, shape (n,); None: row by row.

    Returns
    -------
    Shape (n, p), or one row a cluster in sorted order of the labels. Coefficients less these are
    about those without the row. R: ``residuals(type = "dfbeta", collapse = )``.

    References
    ----------
    .. [1] Cain KC, Lange NT. Biometrics 1984;40:493-499.
    """
    scores = score_residuals_by_row(fit)
    if fit.rows.weights is not None:
        scores *= fit.rows.weights[:, None]
    influence = scores @ fit.covariance_model
    if cluster is None:
        return influence
    codes, labels = labelled(cluster, rows=len(influence))
    total = np.zeros((len(labels), influence.shape[1]))
    np.add.at(total, codes, influence)
    return total


def schoenfeld_residuals(fit: CoxFit) -> SchoenfeldResiduals:
    """Give the residual of each event, as it is and scaled by the mean variance.

    Scaled residuals are the residual times the covariance times the number of events, plus the
    coefficient: their mean at a time is about the coefficient there [1]_. Tied events share the
    mean of what they see. R: ``residuals(type = "schoenfeld")`` and ``"scaledsch"``.

    Raises
    ------
    ValueError
        If the fit holds no number for a term.

    References
    ----------
    .. [1] Grambsch PM, Therneau TM. Biometrika 1994;81:515-526.
    """
    data, sums = fit.data, _sums(fit)
    s1, s1_deaths = sums.s1[:, 0], on_all_slots(data, sums.s1_deaths)[:, 0]
    weight = np.where(sums.death_weight > 0, sums.death_weight, 1.0)
    mean = (sums.hazard * s1 - sums.hazard_tied * s1_deaths) / weight
    residual = (data.x[data.deaths] - mean[data.death_slot]) * data.scale
    scaled = residual @ fit.covariance_model * len(residual) + fit.coefficients
    return SchoenfeldResiduals(
        row=data.rows[data.deaths], slot=data.death_slot, day=data.slot_day[data.death_slot],
        residual=residual, scaled=scaled,
    )  # fmt: skip


def _sums(fit: CoxFit) -> RiskSums:
    if not np.isfinite(fit.coefficients).all() or not len(fit.data.rows):
        raise ValueError("fit must hold a number for every term")
    return risk_sums(fit.data, fit.scaled_coefficients, fit.weights_at_risk, fit.ties)
