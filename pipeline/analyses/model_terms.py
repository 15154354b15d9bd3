"""What the terms of a logistic model say beyond their ratios: curves, profiles, collinearity."""

from dataclasses import replace
from functools import partial

import numpy as np
import polars as pl

from analysis.collinearity import condition_number, variance_inflation
from analysis.design import design_rows, level_text
from analysis.larger_errors import CautiousFit, cautious_effects, wider
from analysis.standardise import mean_risk
from pipeline.analyses.curves import no_curves
from pipeline.analyses.fitted import Fitted, concerned, contrast_row, number_row
from pipeline.analyses.interactions import Value, at_values, beyond_seen, interaction_rows
from pipeline.analyses.logistic_data import LogisticData
from pipeline.analyses.primary_fit import primary_fit
from pipeline.analyses.spline_curves import spline_curve
from pipeline.plan import Analysis
from shared.estimate import Estimate

INFLATED = 10.0  # variance inflation from which a term is called collinear, a rule of thumb


def term_rows(base: Estimate, analysis: Analysis, data: LogisticData, *, penalised: bool) -> Fitted:
    """Give interactions, curves of splines, risks of profiles and collinearity, as asked for."""
    asked = bool(analysis.interactions or analysis.spline or analysis.profiles)
    rows = _collinearity(base, data) if "collinearity" in analysis.diagnostics else []
    if not asked:
        return Fitted(rows=tuple(rows), curves=no_curves())
    fit = primary_fit(analysis, data, penalised=penalised)
    if not fit.fit.converged:
        return Fitted(rows=tuple(rows), curves=no_curves())
    if data.cluster is not None:
        base = replace(base, clusters=len(np.unique(data.cluster[data.used > 0])))
    rows += interaction_rows(base, analysis, data, fit)
    of_risks = primary_fit(analysis, data, penalised=penalised, of_risks=True)
    rows += _profiles(base, analysis, data, of_risks)
    used = data.rows.filter(pl.Series(np.asarray(data.used > 0)))
    effects = partial(cautious_effects, fit, confidence=analysis.confidence)
    curves = [spline_curve(analysis, data.design, used, name=name, effects=effects)
              for name in analysis.spline if data.design.places(name)]  # fmt: skip
    return Fitted(rows=tuple(rows), curves=pl.concat([no_curves(), *curves]))


def _collinearity(base: Estimate, data: LogisticData) -> list[Estimate]:
    used = data.used > 0
    matrix, weights = data.design.matrix[used], data.used[used]
    if matrix.shape[1] < 2:
        return []
    terms = [column.term for column in data.design.columns]
    rows = number_row(base, "condition_number", condition_number(matrix, weights=weights))
    for term, (value, columns) in variance_inflation(matrix, terms, weights=weights).items():
        for row in number_row(replace(base, term=term), "variance_inflation", value):
            inflated = value ** (1 / columns) > INFLATED
            rows.append(concerned(replace(row, df=float(columns)),
                                  ("collinear",) if inflated else ()))  # fmt: skip
    return rows


def _profiles(
    base: Estimate, analysis: Analysis, data: LogisticData, fit: CautiousFit
) -> list[Estimate]:
    """Give the risk of each profile, in each arm unless it names one, averaged over the rest."""
    rows: list[Estimate] = []
    for name, profile in analysis.profiles.items():
        free = analysis.exposure if analysis.exposure in analysis.categorical else None
        arms: tuple[str | None, ...] = (None,)
        if free is not None:
            arms = analysis.levels or tuple(_levels(data, free))
            arms = (profile[free],) if free in profile else arms
        for arm in arms:
            values: dict[str, Value] = {**profile, **({free: arm} if free and arm else {})}
            matrix = design_rows(data.design, at_values(data.rows, values))
            risk = wider(
                [mean_risk(item, matrix, confidence=analysis.confidence) for item in fit.each()]
            )
            here = replace(base, group=name, term=free if arm else None, level=arm,
                           definition=", ".join(f"{key}={value}"
                                                for key, value in profile.items()))  # fmt: skip
            row = replace(contrast_row(here, risk), measure="profile_risk")
            row = replace(row, method=f"{row.method}; other terms as in {len(data.rows)} rows")
            rows.append(concerned(row, beyond_seen(data.design, data.rows, profile)))
    return rows


def _levels(data: LogisticData, column: str) -> list[str]:
    return sorted(set(level_text(data.rows[column]).to_list()))
