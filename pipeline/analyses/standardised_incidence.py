"""Cumulative incidence as it would be if every stifle had been treated one way, or the other."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.cox import CoxFit, fit_cox
from analysis.design import Design, DesignColumn, set_level
from analysis.standardise_incidence import (
    CauseModel,
    Standardised,
    StandardisedIncidence,
    standardised_incidence,
)
from analysis.two_proportions import Contrast, number_needed
from pipeline.analyses.fitted import (
    base_row,
    concerned,
    contrast_row,
    count_rows,
    finite,
    ignores_clusters,
    make_design,
    numbers_of,
    optional_labels,
)
from pipeline.analyses.groups import arm_levels
from pipeline.analyses.selection import EVENT, Selection
from pipeline.analyses.timed import columns_needed, fit_cause
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.errors import PlanError
from shared.estimate import Estimate


def standardised_rows(selection: Selection, analysis: Analysis) -> list[Estimate]:
    """Standardise the risk of the event over the rows of the adjusted models.

    Raises
    ------
    PlanError
        If the exposure is no category with a reference, or late entry is asked for.
    """
    design, kept = make_design(selection, analysis, analysis.terms, also=columns_needed(analysis))
    exposure = design.places(analysis.exposure or "")
    reference = design.columns[exposure[0]].reference
    if reference is None or analysis.entry or analysis.strata:
        raise PlanError(
            f'analysis "{analysis.id}"',
            "standardised risks need a categorical exposure, and neither late entry nor strata",
            do="Name the reference level of the exposure in categorical.",
        )
    base = replace(
        base_row(analysis, selection), adjustment="standardised", state=analysis.outcome_name,
        n=len(kept), n_dropped=len(design.kept) - len(kept),
        events=int((kept[EVENT] == OF_INTEREST).sum()),
    )  # fmt: skip
    if analysis.cluster is None:
        base = concerned(base, ignores_clusters(kept, analysis))
    rows = count_rows(base, selection, design.dropped)
    event = fit_cause(analysis, design, kept)
    if not np.isfinite(event.coefficients).all():
        why = (*event.concerns, "not_identified")
        return [*_empty_rows(concerned(base, why), analysis, kept), *rows]
    levels = arm_levels(kept, analysis)
    found = standardised_incidence(
        CauseModel(fit=event, arms=_arms(design, analysis, levels, design.columns)),
        _competing(analysis, design, kept, levels),
        days=analysis.horizon,
        reference=reference,
        refits=analysis.resamples,
        seed=analysis.seed,
        confidence=analysis.confidence,
    )
    last = float(numbers_of(kept, analysis.time).max())
    base = concerned(
        replace(base, method=_method(analysis, found), clusters=event.clusters),
        (*event.concerns, *(("resamples_failed",) if found.failed_refits else ())),
    )
    return [*_rows(base, analysis, found, last=last), *rows]


def _competing(
    analysis: Analysis, design: Design, kept: pl.DataFrame, levels: tuple[str, ...]
) -> CauseModel | None:
    """Model all competing events pooled; a term without a finite hazard ratio is left out."""
    event = (kept[EVENT] > OF_INTEREST).to_numpy().astype(np.float64)
    names = design.names
    while event.any():
        places = [design.names.index(name) for name in names]
        fit = fit_cox(
            design.matrix[:, places],
            numbers_of(kept, analysis.time),
            event,
            cluster=optional_labels(kept, analysis.cluster),
            names=names,
            concordance=False,
        )
        if np.isfinite(fit.coefficients).all():
            columns = tuple(design.columns[place] for place in places)
            return CauseModel(fit=fit, arms=_arms(design, analysis, levels, columns))
        names = _without(names, fit)
        if not names:
            raise ValueError("no term of the model of competing events has a finite hazard ratio")
    return None


def _without(names: tuple[str, ...], fit: CoxFit) -> tuple[str, ...]:
    out = set(fit.separated) or {item.name for item in fit.redundant} or set(names)
    return tuple(name for name in names if name not in out)


def _arms(
    design: Design, analysis: Analysis, levels: Iterable[str], columns: tuple[DesignColumn, ...]
) -> dict[str, np.ndarray]:
    """Give the terms of everybody at each level, for the columns a model has."""
    places = [design.columns.index(column) for column in columns]
    return {level: set_level(design, analysis.exposure or "", level)[:, places] for level in levels}


def _rows(
    base: Estimate, analysis: Analysis, found: StandardisedIncidence, *, last: float
) -> list[Estimate]:
    rows: list[Estimate] = []
    for risk in found.risks:
        here = replace(base, group=risk.arm, day=risk.day)
        rows.append(_row(here, "risk", risk, last))
    for difference in found.differences:
        here = replace(base, term=analysis.exposure, level=difference.arm,
                       reference=difference.reference, day=difference.day)  # fmt: skip
        rows.append(_row(here, "risk_difference", difference, last))
        if difference.day <= last:
            needed = number_needed(_contrast(difference, found))
            rows.append(contrast_row(replace(here, method=base.method), needed))
    for ratio in found.ratios:
        here = replace(base, term=analysis.exposure, level=ratio.arm,
                       reference=ratio.reference, day=ratio.day)  # fmt: skip
        rows.append(_row(here, "risk_ratio", ratio, last))
    return rows


def _row(base: Estimate, measure: str, number: Standardised, last: float) -> Estimate:
    row = replace(base, measure=measure)
    if number.day > last:
        return concerned(row, ("beyond_follow_up",))
    return replace(
        row, estimate=finite(number.estimate), std_error=finite(number.std_error),
        low=finite(number.low), high=finite(number.high),
    )  # fmt: skip


def _contrast(number: Standardised, found: StandardisedIncidence) -> Contrast:
    return Contrast(
        measure="risk_difference", estimate=number.estimate, std_error=number.std_error,
        low=number.low, high=number.high, confidence=found.confidence,
        method="standardised by cause-specific Cox models",
    )  # fmt: skip


def _empty_rows(base: Estimate, analysis: Analysis, kept: pl.DataFrame) -> list[Estimate]:
    """Say of each number that would stand here that there is none."""
    return [
        replace(base, measure="risk", group=level, day=day)
        for level in arm_levels(kept, analysis)
        for day in analysis.horizon
    ]


def _method(analysis: Analysis, found: StandardisedIncidence) -> str:
    unit = analysis.cluster or "row"
    return (
        "g-computation from cause-specific Cox models of the event and of the pooled competing "
        f"events; {found.refits} bootstrap samples by {unit}, percentile limits"
        + (f"; {found.failed_refits} samples without a fit" if found.failed_refits else "")
    )
