"""Cause-specific Cox regression: crude and adjusted hazard ratios with their tests."""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, cast

import polars as pl

from analysis.cox import proportional_hazards_test
from analysis.design import Design
from pipeline.analyses.concordance_rows import concordance_rows
from pipeline.analyses.cox_diagnostics import diagnose_cox
from pipeline.analyses.cox_exact_ties import fit_exact_ties
from pipeline.analyses.cox_penalised import LIN_WEI, firth_cox_rows, is_sparse
from pipeline.analyses.cox_profile import PROFILE, cox_effects
from pipeline.analyses.cox_profiles import profile_rows
from pipeline.analyses.curves import no_curves
from pipeline.analyses.effects import coefficient_rows, term_tests
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    count_rows,
    design_version,
    ignores_clusters,
    naming,
    number_row,
    row_of_test,
)
from pipeline.analyses.selection import select_rows
from pipeline.analyses.standardised_incidence import standardised_rows
from pipeline.analyses.timed import columns_needed, fit_cause
from pipeline.plan import Analysis
from shared.estimate import Estimate

if TYPE_CHECKING:
    from analysis.cox_diagnostics import Transform

LIKELY_NOT_CONSTANT = 0.05  # p-value of the test of proportional hazards below which it is said


def fit_cox_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Fit the crude and adjusted models that the plan asks for; competing states are censored.

    Where events are few or a term separates in time Firth's fit is the primary one, with maximum
    likelihood beside it; the test of proportional hazards is that of maximum likelihood.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    selection = select_rows(frame, analysis)
    rows: list[Estimate] = []
    curves = [no_curves()]
    for adjustment in analysis.adjustments:
        if adjustment == "standardised":
            rows += standardised_rows(selection, analysis)
            continue
        base, design, kept = design_version(
            selection, analysis, adjustment, also=columns_needed(analysis)
        )
        rows += _model_rows(analysis, design, kept, base=base)
        if analysis.profiles and adjustment == _whole(analysis):
            rows += profile_rows(base, analysis, design, kept)
        if analysis.diagnostics and adjustment == _whole(analysis):
            judged = diagnose_cox(base, analysis, design, kept)
            rows += judged.rows
            curves.append(judged.curves)
        rows += count_rows(base, selection, design.dropped)
    return Fitted(rows=tuple(rows), curves=pl.concat(curves))


def _whole(analysis: Analysis) -> str:
    """Name the version with most terms: that is the one to be judged."""
    return "adjusted" if "adjusted" in analysis.adjustments else "crude"


def _model_rows(
    analysis: Analysis, design: Design, kept: pl.DataFrame, *, base: Estimate
) -> list[Estimate]:
    if analysis.ties == "exact":
        return fit_exact_ties(analysis, design, kept, base=base)
    fit = fit_cause(analysis, design, kept)
    ignored = ignores_clusters(kept, analysis) if analysis.cluster is None else ()
    plain = concerned(
        replace(base, n=fit.n, n_dropped=len(design.kept) - fit.n, events=fit.events,
                clusters=fit.clusters), ignored,
    )  # fmt: skip
    places = {
        name: [column.name for column in design.columns if column.term == name]
        for name in dict.fromkeys(column.term for column in design.columns)
    }
    effects = cox_effects(analysis, design, fit)
    held = proportional_hazards_test(
        fit, transform=cast("Transform", analysis.ph_transform), terms=places
    )
    broken: Mapping[str, tuple[str, ...]] = {
        term: ("non_proportional",)
        for term, test in held.by_term.items()
        if test.p_value < LIKELY_NOT_CONSTANT
    }
    rows: list[Estimate] = []
    base = concerned(naming(replace(plain, method=_method(analysis)), fit.redundant), fit.concerns)
    if is_sparse(analysis, fit):
        rows += firth_cox_rows(plain, analysis, design, kept, likelihood_fit=fit, broken=broken)
        base = replace(base, role="sensitivity")
    rows += coefficient_rows(base, effects, "hazard_ratio", concerns=broken)
    rows += term_tests(base, design.columns, fit.coefficients, fit.covariance)
    for name in ("likelihood_ratio", "score", "wald", "robust_score"):
        rows += row_of_test(base, name, getattr(fit, name))
    for term, test in held.by_term.items():
        rows += row_of_test(base, "proportional_hazards", test, level=term)
    rows += row_of_test(base, "proportional_hazards", held.overall, level="global")
    rows += number_row(base, "log_likelihood", fit.log_likelihood)
    rows += number_row(base, "log_likelihood_null", fit.log_likelihood_null)
    return rows + concordance_rows(base, analysis, fit)


def _method(analysis: Analysis) -> str:
    errors = (
        f"robust errors by {analysis.cluster} {LIN_WEI}"
        if analysis.cluster
        else "model-based errors"
    )
    if analysis.interval == PROFILE:
        errors += "; profile limits and likelihood-ratio tests of terms"
    strata = f", stratified by {', '.join(analysis.strata)}" if analysis.strata else ""
    return (
        f"Cox partial likelihood, {analysis.ties.capitalize()} ties{strata}; {errors}; test of "
        f"proportional hazards on the scale {analysis.ph_transform}"
    )
