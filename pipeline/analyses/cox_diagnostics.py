"""What a Cox model hangs on: how its effects run over time, and single animals or clinics."""

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, cast

import numpy as np
import polars as pl

from analysis.arrays import labelled
from analysis.cox import CoxFit
from analysis.cox_over_time import coefficient_over_time
from analysis.cox_residuals import dfbeta
from analysis.design import Design, DesignColumn, level_text
from analysis.kernels.cox import fit_cox_batch
from pipeline.analyses.curves import CURVE_SCHEMA, no_curves
from pipeline.analyses.fitted import Fitted, TextArray, concerned, finite
from pipeline.analyses.timed import fit_cause
from pipeline.plan import Analysis
from shared.estimate import Estimate

if TYPE_CHECKING:
    from analysis.cox_diagnostics import Transform

SHOWN = 5  # animals; clinics are all shown
MOST_CLINICS = 60
SMOOTH, RESIDUAL = "over_time", "over_time_residual"


def diagnose_cox(base: Estimate, analysis: Analysis, design: Design, kept: pl.DataFrame) -> Fitted:
    """Judge one version of the model: the exposure's terms, or all where there is none.

    Nothing where maximum likelihood holds no number for a term.
    """
    fit = fit_cause(analysis, design, kept)
    if not np.isfinite(fit.coefficients).all():
        return Fitted(rows=(), curves=no_curves())
    exposed = design.places(analysis.exposure) if analysis.exposure else []
    places = [*exposed] or [*range(len(design.columns))]
    rows: list[Estimate] = []
    if "influence" in analysis.diagnostics:
        weights = fit.rows.weights
        base = replace(base, clusters=None, events=None, confidence=None)
        used = kept if weights is None else kept.filter(pl.col(analysis.weights or "") > 0)
        rows = [
            row for place in places for left in _groups(used, analysis)
            for row in _influence(base, design.columns[place], fit, place, left=left)
        ]  # fmt: skip
    curves = [no_curves()]
    if "proportional_hazards" in analysis.diagnostics:
        curves += [_over_time(analysis, fit, fit.names[place]) for place in places]
    return Fitted(rows=tuple(rows), curves=pl.concat(curves))


def _groups(used: pl.DataFrame, analysis: Analysis) -> Iterator[tuple[str, TextArray, int]]:
    """Give the columns whose levels are left out one at a time, and how many levels are shown."""
    clinic = analysis.validate_by or ("clinic_id" if "clinic_id" in used.columns else None)
    for column, most in ((clinic, MOST_CLINICS), (analysis.cluster, SHOWN)):
        if column is None or (most == SHOWN and column == clinic):
            continue
        labels = level_text(used[column]).fill_null("not recorded").to_numpy().astype(str)
        if len(set(labels.tolist())) > 1:
            yield column, labels, most


def _influence(
    base: Estimate,
    column: DesignColumn,
    fit: CoxFit,
    place: int,
    *,
    left: tuple[str, TextArray, int],
) -> list[Estimate]:
    """Fit again without each of the groups of the largest first-order influence, largest first."""
    name, labels, most = left
    codes, levels = labelled(labels, rows=fit.data.n_rows)
    size = np.abs(dfbeta(fit, labels)[:, place])
    chosen = np.argsort(-size, kind="stable")[:most]
    own = np.ones(fit.data.n_rows) if fit.rows.weights is None else fit.rows.weights
    weights = own[:, None] * (codes[:, None] != chosen)
    batch = fit_cox_batch(fit.data, weights, ties=fit.ties, start=fit.coefficients)
    rows: list[Estimate] = []
    for position, code in enumerate(chosen.tolist()):
        found = float(np.exp(batch.beta[place, position])) if batch.converged[position] else None
        row = replace(
            base, measure="hazard_ratio_without", term=column.term, level=column.level,
            reference=column.reference, unit=column.unit, group=str(levels[code]), state=name,
            estimate=finite(found), n=int(np.count_nonzero(codes != code)),
            method=f"fitted again without one {name}",
        )  # fmt: skip
        rows.append(concerned(row, () if row.estimate is not None else ("not_identified",)))
    return rows


def _over_time(analysis: Analysis, fit: CoxFit, term: str) -> pl.DataFrame:
    """Give the smooth of one term and the residuals it runs through, the events numbered."""
    found = coefficient_over_time(
        fit, term, transform=cast("Transform", analysis.ph_transform),
        confidence=analysis.confidence,
    )  # fmt: skip
    if found is None:
        return no_curves()
    smooth = pl.DataFrame({
        "at": found.places, "day": found.place_day, "estimate": found.estimate,
        "low": found.low, "high": found.high,
        "state": [f"place {number:02d}" for number in range(len(found.places))],
    }).with_columns(curve=pl.lit(SMOOTH))  # fmt: skip
    points = pl.DataFrame({
        "at": found.at, "day": found.day, "estimate": found.residual,
        "state": [f"event {number:05d}" for number in range(len(found.at))],
    }).with_columns(curve=pl.lit(RESIDUAL))  # fmt: skip
    blank = {name: pl.lit(None, pl.Float64) for name in ("n_at_risk", "n_events", "n_censored")}
    return (
        pl.concat([smooth, points], how="diagonal")
        .with_columns(
            analysis=pl.lit(analysis.id), outcome=pl.lit(analysis.outcome_name),
            group=pl.lit(term), **blank,
        )
        .select(CURVE_SCHEMA.keys())
    )  # fmt: skip
