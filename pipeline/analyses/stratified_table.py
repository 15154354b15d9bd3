"""Arms compared within strata by Mantel and Haenszel's weights, with tests of evenness."""

from dataclasses import replace

import polars as pl

from analysis.design import level_text
from analysis.stratified import Stratified, mantel_haenszel
from analysis.two_groups import TwoGroups
from pipeline.analyses.curves import no_curves
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    contrast_row,
    count_rows,
    ignores_clusters,
    row_of_test,
    stratum_labels,
)
from pipeline.analyses.groups import arm_levels, reference_of, rows_of_arms
from pipeline.analyses.outcome_day import day_of_outcome
from pipeline.analyses.selection import OUTCOME, select_rows
from pipeline.plan import Analysis
from shared.estimate import Estimate

STRATUM = "stratum of the row"  # no column of a table is called so


def fit_stratified_table(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Compare each level of the exposure with the reference within the strata of the plan.

    A stratum in which one of the two is missing bears on nothing and is counted.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table, or no stratum has both arms.
    """
    selection = select_rows(frame, analysis)
    base, kept, dropped = rows_of_arms(selection, analysis, (OUTCOME, *analysis.strata))
    unknown = ("outcome_selected_by_follow_up",) if dropped.get(OUTCOME) else ()
    base = concerned(base, (*unknown, *ignores_clusters(kept, analysis)))
    base = replace(base, day=day_of_outcome(analysis), term=analysis.exposure)
    labels = stratum_labels(kept, analysis.strata)
    kept = kept.with_columns(pl.Series(STRATUM, labels, dtype=pl.String))
    reference = named_reference(kept, analysis)
    rows: list[Estimate] = []
    for level in arm_levels(kept, analysis):
        if level != reference:
            rows += _compared(base, kept, analysis, pair=(level, reference))
    rows += count_rows(replace(base, term=None), selection, dropped)
    return Fitted(rows=tuple(rows), curves=no_curves())


def named_reference(frame: pl.DataFrame, analysis: Analysis) -> str:
    """Give the level against which the others stand.

    Raises
    ------
    ValueError
        If the plan names none.
    """
    reference = reference_of(frame, analysis)
    if reference is None:
        raise ValueError(f"no level of {analysis.exposure} is the reference: add levels")
    return reference


def _compared(
    base: Estimate, frame: pl.DataFrame, analysis: Analysis, *, pair: tuple[str, str]
) -> list[Estimate]:
    level, reference = pair
    text = level_text(frame[analysis.exposure or ""])
    groups = _groups(frame.filter(text.is_in(pair)), analysis, level=level)
    both = tuple(one for one in groups if one is not None)
    if not both:
        raise ValueError(f"no stratum has both {level} and {reference}")
    found = mantel_haenszel(both, confidence=analysis.confidence)
    here = replace(
        base, level=level, reference=reference, adjustment="adjusted",
        n=sum(one.n + one.reference_n for one in both),
        events=sum(one.events + one.reference_events for one in both),
    )  # fmt: skip
    contrasts = (found.risk_difference, found.risk_ratio, found.odds_ratio)
    rows = [contrast_row(here, contrast) for contrast in contrasts]
    rows += _tests(here, found)
    counts = {"strata": len(groups), "strata_with_both": found.strata,
              "strata_with_events_and_none": found.telling}  # fmt: skip
    return rows + [
        replace(base, measure="count", term=name, level=level, estimate=float(count), n=None,
                confidence=None, concerns=())
        for name, count in counts.items()
    ]  # fmt: skip


def _tests(here: Estimate, found: Stratified) -> list[Estimate]:
    tests = {
        "mantel_haenszel": found.association,
        "mantel_haenszel_corrected": found.association_corrected,
        "breslow_day": found.breslow_day, "tarone": found.tarone,
    }  # fmt: skip
    return [row for name, test in tests.items()
            for row in row_of_test(here, name, test, level=here.level)]  # fmt: skip


def _groups(frame: pl.DataFrame, analysis: Analysis, *, level: str) -> list[TwoGroups | None]:
    """Count the two groups of each stratum, None where one of them is missing."""
    exposed = level_text(frame[analysis.exposure or ""]) == level
    counted = (
        frame.select(STRATUM, OUTCOME, exposed.alias("exposed"))
        .group_by(STRATUM)
        .agg(
            n=pl.col("exposed").sum(), reference_n=(~pl.col("exposed")).sum(),
            events=pl.col(OUTCOME).filter(pl.col("exposed")).sum(),
            reference_events=pl.col(OUTCOME).filter(~pl.col("exposed")).sum(),
        )
        .sort(STRATUM)
    )  # fmt: skip
    return [
        TwoGroups(events=row["events"], n=row["n"], reference_events=row["reference_events"],
                  reference_n=row["reference_n"]) if row["n"] and row["reference_n"] else None
        for row in counted.iter_rows(named=True)
    ]  # fmt: skip
