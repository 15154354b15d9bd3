"""Firth's Cox model beside maximum likelihood: for sparse data, or terms that separate."""

from collections.abc import Mapping
from dataclasses import replace

import polars as pl

from analysis.cox import CoxFit
from analysis.design import Design
from analysis.penalised_variance import robust_firth_cox
from pipeline.analyses.effects import FEW_EVENTS_PER_PARAMETER
from pipeline.analyses.fitted import ignores_clusters, optional_labels, optional_numbers
from pipeline.analyses.penalised_rows import Penalised, limits_asked, penalised_rows
from pipeline.analyses.timed import fit_cause_penalised
from pipeline.plan import Analysis
from shared.estimate import Estimate

LIN_WEI = "(Lin and Wei, no small-sample factor)"


def is_sparse(analysis: Analysis, fit: CoxFit) -> bool:
    """Decide on Firth's fit: what the plan says, else by the events and what separates.

    Without events, or with columns that repeat others, neither likelihood has an estimate.
    """
    if not fit.converged:
        return False
    if analysis.estimator is not None:
        return analysis.estimator == "penalised"
    few = fit.events < FEW_EVENTS_PER_PARAMETER * len(fit.names)
    return few or bool(fit.separated)


def firth_cox_rows(
    base: Estimate,
    analysis: Analysis,
    design: Design,
    kept: pl.DataFrame,
    *,
    likelihood_fit: CoxFit,
    broken: Mapping[str, tuple[str, ...]],
) -> list[Estimate]:
    """Give the rows of Firth's fit; `broken` are concerns of terms whose ratio is not constant."""
    separated = likelihood_fit.separated
    fit = fit_cause_penalised(
        analysis, design, kept, limits_for=limits_asked(analysis, design.columns, separated)
    )
    labels = optional_labels(kept, analysis.cluster)
    weights = optional_numbers(kept, analysis.weights)
    if labels is not None and weights is not None:
        labels = labels[weights > 0]
    found = Penalised(
        columns=design.columns, fit=fit,
        robust=None if labels is None else robust_firth_cox(fit, labels),
        errors=f"robust errors by {analysis.cluster} {LIN_WEI}", separated=separated,
        ignored=ignores_clusters(kept, analysis), broken=broken,
    )  # fmt: skip
    strata = f", stratified by {', '.join(analysis.strata)}" if analysis.strata else ""
    likelihood = (
        f"Firth's penalised Cox partial likelihood, {analysis.ties.capitalize()} ties{strata}"
    )
    return penalised_rows(
        replace(base, model="firth_cox"), analysis, found, ratio="hazard_ratio",
        likelihood=likelihood,
    )  # fmt: skip
