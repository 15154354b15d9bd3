"""The Cox model with exact ties: for published examples and follow-up in whole periods."""

from dataclasses import replace

import polars as pl

from analysis.cox_exact import fit_cox_exact
from analysis.design import Design
from pipeline.analyses.effects import coefficient_rows, term_tests, wald_effects
from pipeline.analyses.fitted import (
    concerned,
    happened,
    ignores_clusters,
    naming,
    number_row,
    numbers_of,
    row_of_test,
    stratum_labels,
)
from pipeline.analyses.timed import fit_cause
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.errors import PlanError
from shared.estimate import Estimate


def fit_exact_ties(
    analysis: Analysis, design: Design, kept: pl.DataFrame, *, base: Estimate
) -> list[Estimate]:
    """Give the rows of a Cox model with exact ties; errors are model-based.

    Raises
    ------
    PlanError
        If clusters, weights or late entry are asked for, which this likelihood has not here.
    """
    for key in ("cluster", "weights", "entry"):
        if getattr(analysis, key):
            raise PlanError(
                f'analysis "{analysis.id}"', f'ties = "exact" cannot be used with {key}',
                do='Use ties = "efron".',
            )  # fmt: skip
    fit = fit_cox_exact(
        design.matrix,
        numbers_of(kept, analysis.time),
        happened(kept, OF_INTEREST),
        strata=stratum_labels(kept, analysis.strata),
        names=design.names,
    )
    base = concerned(
        replace(base, n=fit.n, n_dropped=len(design.kept) - fit.n, events=fit.events,
                method="Cox exact (discrete) partial likelihood; model-based errors"),
        (*fit.concerns, *ignores_clusters(kept, analysis)),
    )  # fmt: skip
    away: dict[str, tuple[str, ...]] = {}
    if not fit.converged:  # the partial likelihood without exact ties tells which terms run away
        near = fit_cause(analysis, design, kept)
        base = concerned(naming(base, near.redundant), ("separation",) if near.separated else ())
        away = {column.term: ("separation",) for column in design.columns
                if column.name in near.separated}  # fmt: skip
    effects = wald_effects(
        design.columns, fit.coefficients, fit.covariance, confidence=analysis.confidence
    )
    rows = coefficient_rows(base, effects, "hazard_ratio", concerns=away)
    rows += term_tests(base, design.columns, fit.coefficients, fit.covariance)
    for name in ("likelihood_ratio", "score", "wald"):
        rows += row_of_test(base, name, getattr(fit, name))
    rows += number_row(base, "log_likelihood", fit.log_likelihood)
    return rows + number_row(base, "log_likelihood_null", fit.log_likelihood_null)
