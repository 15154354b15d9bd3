"""Risks by day D as they would be if everybody were treated one way, from a logistic model."""

from dataclasses import replace

import numpy as np

from analysis.design import set_level
from analysis.larger_errors import wider_risks
from analysis.standardise import StandardisedRisks, standardised_risks
from analysis.standardise_bootstrap import bootstrap_standardised_risks
from pipeline.analyses.fitted import TextArray, contrast_row
from pipeline.analyses.logistic_data import LogisticData
from pipeline.analyses.primary_fit import CORRECTED, primary_fit, takes_larger
from pipeline.plan import Analysis
from shared.errors import PlanError
from shared.estimate import Estimate


def standardised_rows(
    base: Estimate, analysis: Analysis, data: LogisticData, *, sparse: bool, prefix: str
) -> list[Estimate]:
    """Standardise over all rows with their terms, also those whose outcome is not known.

    Raises
    ------
    PlanError
        If the exposure is no category with a reference.
    """
    places = data.design.places(analysis.exposure or "")
    reference = data.design.columns[places[0]].reference if places else None
    if reference is None:
        raise PlanError(
            f'analysis "{analysis.id}"', "standardised risks need a categorical exposure",
            do="Name the reference level of the exposure in categorical.",
        )  # fmt: skip
    base = replace(base, model=f"{prefix}firth_logistic" if sparse else f"{prefix}logistic")
    if data.cluster is not None:
        base = replace(base, clusters=len(np.unique(data.cluster[data.used > 0])))
    rows: list[Estimate] = []
    for place in places:
        level = data.design.columns[place].level or ""
        found = _risks(analysis, data, reference, level, sparse=sparse)
        here = replace(base, term=analysis.exposure, level=level, reference=reference)
        if place == places[0]:
            rows.append(contrast_row(replace(base, group=reference), found.reference))
        rows.append(contrast_row(replace(base, group=level), found.exposed))
        rows += [
            contrast_row(here, contrast)
            for contrast in (found.difference, found.ratio, found.number_needed)
        ]
    robust = f", robust by {analysis.cluster}" if sparse and analysis.cluster else ""
    larger = sparse and takes_larger(analysis, penalised=True)
    errors = f"{robust} or model-based, the larger" if larger else robust
    if sparse and analysis.intercept == CORRECTED:
        errors += "; intercept corrected"
    over = f"{errors}; standardised over {len(data.outcome)} rows, outcome known or not"
    return [replace(row, method=f"{row.method}{over}") for row in rows]


def _risks(
    analysis: Analysis, data: LogisticData, reference: str, level: str, *, sparse: bool
) -> StandardisedRisks:
    """Estimate both risks; limits by bootstrap of clusters, for Firth's fit by the delta method."""
    exposure = analysis.exposure or ""
    arms = set_level(data.design, exposure, reference), set_level(data.design, exposure, level)
    found = primary_fit(analysis, data, penalised=sparse, of_risks=True)
    point = wider_risks(
        [standardised_risks(item, *arms, confidence=analysis.confidence) for item in found.each()]
    )
    if sparse or not found.fit.converged or not analysis.resamples:
        return point
    return bootstrap_standardised_risks(
        point,
        x=data.design.matrix,
        y=data.outcome,
        arms=arms,
        cluster=_clusters(data),
        weights=data.used,
        replicates=analysis.resamples,
        seed=analysis.seed,
    )


def _clusters(data: LogisticData) -> TextArray:
    """Give the cluster of each row; without clusters each row is its own."""
    if data.cluster is not None:
        return data.cluster
    return np.arange(len(data.outcome)).astype(str)
