"""Cox regression with a gamma frailty shared by the rows of an animal or a clinic.

Hazard ratios hold within a cluster and lie further from 1 than those between average rows, which
robust errors give. Competing states are censored.
"""

from dataclasses import replace

import polars as pl

from analysis.design import Design
from analysis.frailty import FrailtyFit, fit_frailty
from pipeline.analyses.curves import no_curves
from pipeline.analyses.effects import coefficient_rows, term_tests, wald_effects
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    count_rows,
    design_version,
    finite,
    happened,
    ignores_clusters,
    labels_of,
    naming,
    number_row,
    numbers_of,
    row_of_test,
    stratum_labels,
)
from pipeline.analyses.selection import select_rows
from pipeline.analyses.timed import columns_needed
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.estimate import Estimate


def fit_frailty_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Fit a frailty for each cluster the plan names; crude and adjusted.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    if not analysis.terms:
        raise ValueError("there is no term: add exposure or adjust_for")
    selection = select_rows(frame, analysis)
    cluster = analysis.random_intercept or ""
    rows: list[Estimate] = []
    for adjustment in analysis.adjustments:
        base, design, kept = design_version(
            selection, analysis, adjustment, also=(*columns_needed(analysis), cluster)
        )
        rows += _rows(analysis, design, kept, base=base)
        rows += count_rows(base, selection, design.dropped)
    return Fitted(rows=tuple(rows), curves=no_curves())


def _rows(
    analysis: Analysis, design: Design, kept: pl.DataFrame, *, base: Estimate
) -> list[Estimate]:
    cluster = analysis.random_intercept or ""
    fit = fit_frailty(
        design.matrix,
        numbers_of(kept, analysis.time),
        happened(kept, OF_INTEREST),
        cluster=labels_of(kept, cluster),
        strata=stratum_labels(kept, analysis.strata),
        ties="breslow" if analysis.ties == "breslow" else "efron",
        names=design.names,
        confidence=analysis.confidence,
    )
    alone = () if cluster == "animal_id" else ignores_clusters(kept, analysis)
    base = replace(
        base, n=fit.n, n_dropped=len(design.kept) - fit.n, events=fit.events,
        clusters=fit.clusters, method=_method(analysis),
    )  # fmt: skip
    base = concerned(naming(base, fit.redundant), (*fit.concerns, *alone))
    effects = wald_effects(
        design.columns, fit.coefficients, fit.covariance, confidence=analysis.confidence
    )
    away = {column.term: ("separation",) for column in design.columns
            if column.name in fit.separated}  # fmt: skip
    rows = coefficient_rows(base, effects, "hazard_ratio", concerns=away)
    if not fit.converged:
        return rows
    rows += term_tests(base, design.columns, fit.coefficients, fit.covariance)
    rows += row_of_test(base, "wald", fit.wald)
    return rows + _between(base, fit, cluster)


def _between(base: Estimate, fit: FrailtyFit, cluster: str) -> list[Estimate]:
    """Say how far clusters lie apart, and whether that is more than chance."""
    here = replace(base, term=cluster)
    variance = replace(
        here, measure="frailty_variance", estimate=finite(fit.variance),
        low=finite(fit.variance_low), high=finite(fit.variance_high),
        method=f"{base.method}; profile limits",
    )  # fmt: skip
    test = replace(here, method=f"{base.method}; half the p of one degree of freedom")
    return [
        variance,
        *number_row(here, "rank_correlation", fit.rank_correlation),
        *row_of_test(test, cluster, fit.no_variance, level="no_variance"),
        *number_row(base, "log_likelihood", fit.log_likelihood),
        *number_row(base, "log_likelihood_without", fit.log_likelihood_without),
    ]


def _method(analysis: Analysis) -> str:
    strata = f", stratified by {', '.join(analysis.strata)}" if analysis.strata else ""
    return (
        f"Cox partial likelihood, {analysis.ties.capitalize()} ties{strata}; gamma frailty by "
        f"{analysis.random_intercept}, integrated out; errors allow for its estimated variance"
    )
