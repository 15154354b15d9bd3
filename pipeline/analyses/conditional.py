"""Conditional logistic regression of a plan: odds ratios within animals or other matched sets."""

from dataclasses import replace

import polars as pl

from analysis.conditional import ConditionalFit, fit_conditional_logistic
from analysis.design import Design
from pipeline.analyses.curves import no_curves
from pipeline.analyses.effects import coefficient_rows, term_tests, wald_effects
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    count_rows,
    design_version,
    ignores_clusters,
    labels_of,
    number_row,
    numbers_of,
    row_of_test,
)
from pipeline.analyses.outcome_day import day_of_outcome
from pipeline.analyses.selection import OUTCOME, Selection, select_rows
from pipeline.plan import Analysis
from shared.estimate import Estimate


def fit_conditional_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Compare rows within the sets of the plan; sets without both outcomes are counted.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table or names no term.
    """
    if not analysis.terms:
        raise ValueError("there is no term: add exposure or adjust_for")
    selection = select_rows(frame, analysis)
    rows: list[Estimate] = []
    for adjustment in analysis.adjustments:
        rows += _version(selection, analysis, adjustment)
    return Fitted(rows=tuple(rows), curves=no_curves())


def _version(selection: Selection, analysis: Analysis, adjustment: str) -> list[Estimate]:
    needed = (OUTCOME, analysis.matched_set or "")
    base, design, kept = design_version(selection, analysis, adjustment, also=needed)
    found = fit_conditional_logistic(
        design.matrix, numbers_of(kept, OUTCOME),
        matched_set=labels_of(kept, analysis.matched_set), names=design.names,
    )  # fmt: skip
    unknown = ("outcome_selected_by_follow_up",) if design.dropped.get(OUTCOME) else ()
    animal = analysis.matched_set == "animal_id"
    base = concerned(
        replace(
            base, day=day_of_outcome(analysis), n=found.fit.n, events=found.fit.events,
            clusters=found.telling, n_dropped=len(selection.frame) - found.fit.n,
            method="conditional likelihood within sets; model-based errors",
        ),
        (*unknown, *(() if animal else ignores_clusters(kept, analysis))),
    )  # fmt: skip
    rows = _effects(concerned(base, found.fit.concerns), design, found)
    counts = {"sets": found.sets, "sets_with_both_outcomes": found.telling}
    rows += [
        replace(base, measure="count", term=name, estimate=float(count), n=None, events=None,
                confidence=None, concerns=())
        for name, count in counts.items()
    ]  # fmt: skip
    return rows + count_rows(base, selection, design.dropped)


def _effects(base: Estimate, design: Design, found: ConditionalFit) -> list[Estimate]:
    """Give odds ratios and tests; a term without an estimate has rows that say so."""
    fit = found.fit
    effects = wald_effects(
        design.columns, fit.coefficients, fit.covariance, confidence=base.confidence or 0.95
    )
    rows = coefficient_rows(base, effects, "odds_ratio")
    if fit.converged:
        rows += term_tests(base, design.columns, fit.coefficients, fit.covariance)
    for name in ("likelihood_ratio", "score", "wald"):
        rows += row_of_test(base, name, getattr(fit, name))
    rows += number_row(base, "log_likelihood", fit.log_likelihood)
    return rows + number_row(base, "log_likelihood_null", fit.log_likelihood_null)
