"""Times and events of a plan as the estimators take them."""

from collections.abc import Sequence

import polars as pl

from analysis.cox import CoxFit, fit_cox
from analysis.design import Design
from analysis.firth_cox import FirthCoxFit, fit_firth_cox
from pipeline.analyses.fitted import (
    happened,
    numbers_of,
    optional_labels,
    optional_numbers,
    stratum_labels,
)
from pipeline.analyses.selection import EVENT
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST


def columns_needed(analysis: Analysis) -> tuple[str, ...]:
    """Name the columns, beside the terms, without which a row cannot enter a timed model."""
    optional = (analysis.entry, analysis.weights, analysis.cluster, *analysis.strata)
    return (analysis.time or "", EVENT, *(name for name in optional if name))


def fit_cause(
    analysis: Analysis, design: Design, kept: pl.DataFrame, *, cause: int = OF_INTEREST
) -> CoxFit:
    """Fit the Cox model of one cause to the rows a design kept."""
    return fit_cox(
        design.matrix,
        numbers_of(kept, analysis.time),
        happened(kept, cause),
        entry=optional_numbers(kept, analysis.entry),
        strata=stratum_labels(kept, analysis.strata),
        weights=optional_numbers(kept, analysis.weights),
        cluster=optional_labels(kept, analysis.cluster),
        ties="breslow" if analysis.ties == "breslow" else "efron",
        names=design.names,
    )


def fit_cause_penalised(
    analysis: Analysis, design: Design, kept: pl.DataFrame, *, limits_for: Sequence[str] | None
) -> FirthCoxFit:
    """Fit Firth's Cox model of the event of interest to the rows a design kept."""
    return fit_firth_cox(
        design.matrix,
        numbers_of(kept, analysis.time),
        happened(kept, OF_INTEREST),
        entry=optional_numbers(kept, analysis.entry),
        strata=stratum_labels(kept, analysis.strata),
        weights=optional_numbers(kept, analysis.weights),
        ties="breslow" if analysis.ties == "breslow" else "efron",
        names=design.names,
        confidence=analysis.confidence,
        limits_for=limits_for,
    )
