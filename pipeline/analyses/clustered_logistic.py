"""Logistic models that say how alike rows of a cluster are: random intercepts, or equations.

Odds ratios of a model with random intercepts hold within a cluster and lie further from 1 than
those between average rows, which estimating equations and robust errors give.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import polars as pl

from analysis.design import Design, DesignColumn
from analysis.gee_logistic import GeeFit, fit_gee_logistic
from analysis.linear_effects import linear_effects
from analysis.mixed_logistic import MixedFit, fit_mixed_logistic
from pipeline.analyses.curves import no_curves
from pipeline.analyses.effects import INTERCEPT, coefficient_rows, term_tests, wald_effects
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    count_rows,
    design_version,
    finite,
    ignores_clusters,
    labels_of,
    number_row,
    numbers_of,
    row_of_test,
)
from pipeline.analyses.outcome_day import day_of_outcome
from pipeline.analyses.selection import OUTCOME, Selection, select_rows
from pipeline.analyses.spline_curves import spline_curve
from pipeline.plan import Analysis
from shared.estimate import Estimate

ERRORS = {
    "robust": "sandwich errors",
    "bias_reduced": "bias-reduced errors (Mancl and DeRouen), limits of t",
}


def fit_mixed_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Fit a random intercept for each cluster the plan names; crude and adjusted.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    return _versions(frame, analysis, analysis.random_intercept or "", _mixed)


def fit_gee_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Fit estimating equations, rows of a cluster alike to the same degree; crude and adjusted.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    return _versions(frame, analysis, analysis.cluster or "", _gee)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Version:
    """One version's rows, and the row that all its results start from."""

    base: Estimate
    design: Design
    kept: pl.DataFrame
    cluster: str

    @property
    def columns(self) -> tuple[DesignColumn, ...]:
        return (DesignColumn(name=INTERCEPT, term=INTERCEPT), *self.design.columns)


def _versions(
    frame: pl.DataFrame,
    analysis: Analysis,
    cluster: str,
    rows_of: Callable[[_Version], tuple[list[Estimate], MixedFit | GeeFit]],
) -> Fitted:
    if not analysis.terms:
        raise ValueError("there is no term: add exposure or adjust_for")
    selection = select_rows(frame, analysis)
    rows: list[Estimate] = []
    curves = [no_curves()]
    for adjustment in analysis.adjustments:
        version = _version(selection, analysis, adjustment, cluster)
        found, fit = rows_of(version)
        rows += [*found, *count_rows(version.base, selection, version.design.dropped)]
        named = [name for name in analysis.spline if version.design.places(name)]
        if fit.converged and named:  # of the last version that has the term
            curves = [_curve(analysis, version, fit, name) for name in named]
    return Fitted(rows=tuple(rows), curves=pl.concat(curves))


def _curve(
    analysis: Analysis, version: _Version, fit: MixedFit | GeeFit, name: str
) -> pl.DataFrame:
    """Give the odds ratio over a number, with the limits of its coefficients."""
    effects = partial(
        linear_effects, fit.coefficients, fit.covariance, confidence=analysis.confidence,
        df=getattr(fit, "df", None),
    )  # fmt: skip
    return spline_curve(analysis, version.design, version.kept, name=name, effects=effects)


def _version(selection: Selection, analysis: Analysis, adjustment: str, cluster: str) -> _Version:
    base, design, kept = design_version(selection, analysis, adjustment, also=(OUTCOME, cluster))
    unknown = ("outcome_selected_by_follow_up",) if design.dropped.get(OUTCOME) else ()
    alone = () if cluster == "animal_id" else _apart(kept, analysis, cluster)
    outcome = numbers_of(kept, OUTCOME)
    base = replace(
        concerned(base, (*unknown, *alone)), day=day_of_outcome(analysis), n=len(outcome),
        events=int(outcome.sum()), clusters=kept[cluster].n_unique(),
        n_dropped=len(selection.frame) - len(kept),
    )  # fmt: skip
    return _Version(base=base, design=design, kept=kept, cluster=cluster)


def _apart(kept: pl.DataFrame, analysis: Analysis, cluster: str) -> tuple[str, ...]:
    """Say that animals with several stifles are ignored, unless each lies within one cluster.

    Errors robust by clinic allow for whatever lies within a clinic; a random intercept of the
    clinic does not.
    """
    if analysis.model == "gee_logistic" and "animal_id" in kept.columns:
        within = kept.group_by("animal_id").agg(pl.col(cluster).n_unique())
        if within[cluster].max() == 1:
            return ()
    return ignores_clusters(kept, replace(analysis, cluster=None))


def _mixed(version: _Version) -> tuple[list[Estimate], MixedFit]:
    fit = fit_mixed_logistic(
        version.design.matrix, numbers_of(version.kept, OUTCOME),
        cluster=labels_of(version.kept, version.cluster), names=version.design.names,
        confidence=version.base.confidence or 0.95,
    )  # fmt: skip
    method = f"random intercept by {version.cluster}, adaptive quadrature ({fit.points} points)"
    base = concerned(replace(version.base, method=method), fit.concerns)
    rows = _effects(base, version, fit, df=None)
    if not fit.converged:
        return rows, fit
    rows += number_row(base, "log_likelihood", fit.log_likelihood)
    here = replace(base, term=version.cluster)
    spread = replace(
        here, measure="random_intercept_sd", estimate=finite(fit.spread),
        low=finite(fit.spread_low), high=finite(fit.spread_high),
        method=f"{method}; profile limits",
    )  # fmt: skip
    rows += [spread, *number_row(here, "latent_correlation", fit.latent_correlation)]
    rows += number_row(here, "median_odds_ratio", fit.median_odds_ratio)
    test = replace(here, method=f"{method}; half the p of one degree of freedom")
    return [*rows, *row_of_test(test, version.cluster, fit.no_spread, level="no_spread")], fit


def _gee(version: _Version) -> tuple[list[Estimate], GeeFit]:
    fit = fit_gee_logistic(
        version.design.matrix, numbers_of(version.kept, OUTCOME),
        cluster=labels_of(version.kept, version.cluster), names=version.design.names,
    )  # fmt: skip
    method = f"estimating equations, exchangeable by {version.cluster}; {ERRORS[fit.errors]}"
    base = concerned(replace(version.base, method=method), fit.concerns)
    rows = _effects(base, version, fit, df=fit.df)
    here = replace(base, term=version.cluster)
    return [*rows, *number_row(here, "cluster_correlation", fit.correlation)], fit


def _effects(
    base: Estimate, version: _Version, fit: MixedFit | GeeFit, *, df: float | None
) -> list[Estimate]:
    """Give odds ratios and joint tests; without a fit, rows that say so."""
    effects = wald_effects(
        version.columns, fit.coefficients, fit.covariance, confidence=base.confidence or 0.95,
        df=df,
    )  # fmt: skip
    away = {
        column.term: ("separation",) for column in version.columns if column.name in fit.separated
    }
    rows = coefficient_rows(base, effects, "odds_ratio", concerns=away)
    if not fit.converged or df is not None:  # a chi-square is too small a hurdle beside t
        return rows
    rows += term_tests(base, version.columns, fit.coefficients, fit.covariance)
    return rows + row_of_test(base, "wald", fit.wald)
