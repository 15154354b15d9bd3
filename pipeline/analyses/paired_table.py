"""Arms compared within matched pairs, as the two stifles of an animal: McNemar's and exact."""

from dataclasses import replace

import polars as pl

from analysis.design import level_text
from analysis.paired_table import PairedTable, Pairs, paired_table
from pipeline.analyses.curves import no_curves
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    contrast_row,
    count_rows,
    row_of_test,
)
from pipeline.analyses.groups import arm_levels, rows_of_arms
from pipeline.analyses.outcome_day import day_of_outcome
from pipeline.analyses.selection import OUTCOME, select_rows
from pipeline.analyses.stratified_table import named_reference
from pipeline.plan import Analysis
from shared.estimate import Estimate


def fit_paired_table(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Compare two levels of the exposure in sets that have exactly one row of each.

    Other sets (both stifles in the same arm, one stifle only) are left out and their rows
    counted.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table, names not two levels, or no set is a pair.
    """
    selection = select_rows(frame, analysis)
    needed = (OUTCOME, analysis.matched_set or "")
    base, kept, dropped = rows_of_arms(selection, analysis, needed)
    levels, reference = arm_levels(kept, analysis), named_reference(kept, analysis)
    if len(levels) != 2:
        raise ValueError(f"pairs have two levels of {analysis.exposure}, not {len(levels)}")
    level = next(one for one in levels if one != reference)
    pairs = _pairs(kept, analysis, level=level)
    found = paired_table(pairs, confidence=analysis.confidence)
    unknown = ("outcome_selected_by_follow_up",) if dropped.get(OUTCOME) else ()
    base = concerned(replace(base, day=day_of_outcome(analysis)), unknown)
    here = replace(
        base, term=analysis.exposure, level=level, reference=reference, n=2 * pairs.n,
        events=2 * pairs.both + pairs.discordant, clusters=pairs.n,
    )  # fmt: skip
    rows = _rows(here, found) + _counts(base, pairs, unpaired=len(kept) - 2 * pairs.n)
    return Fitted(rows=(*rows, *count_rows(base, selection, dropped)), curves=no_curves())


def _rows(here: Estimate, found: PairedTable) -> list[Estimate]:
    rows = [contrast_row(here, found.risk_difference), contrast_row(here, found.odds_ratio)]
    rows += row_of_test(here, "mcnemar", found.mcnemar, level=here.level)
    rows += row_of_test(here, "mcnemar_corrected", found.mcnemar_corrected, level=here.level)
    exact = {"exact_pairs": found.exact_p, "mid_p_pairs": found.mid_p}
    return rows + [
        replace(here, measure="test", term=name, p_value=p_value, confidence=None)
        for name, p_value in exact.items()
    ]  # fmt: skip


def _counts(base: Estimate, pairs: Pairs, *, unpaired: int) -> list[Estimate]:
    counts = {
        "both": pairs.both, "exposed_only": pairs.exposed_only,
        "reference_only": pairs.reference_only, "neither": pairs.neither,
    }  # fmt: skip
    named = [("pairs", name, count) for name, count in counts.items()]
    return [
        replace(base, measure="count", term=term, level=level, estimate=float(count), n=count,
                confidence=None, concerns=())
        for term, level, count in (*named, ("not_in_a_pair", None, unpaired))
    ]  # fmt: skip


def _pairs(frame: pl.DataFrame, analysis: Analysis, *, level: str) -> Pairs:
    exposed = level_text(frame[analysis.exposure or ""]) == level
    sets = (
        frame.select(
            level_text(frame[analysis.matched_set or ""]).alias("set"), OUTCOME,
            exposed.alias("exposed"),
        )
        .group_by("set")
        .agg(
            n=pl.len(), exposed=pl.col("exposed").sum(),
            first=pl.col(OUTCOME).filter(pl.col("exposed")).sum(),
            other=pl.col(OUTCOME).filter(~pl.col("exposed")).sum(),
        )
        .filter((pl.col("n") == 2) & (pl.col("exposed") == 1))
    )  # fmt: skip
    if sets.is_empty():
        raise ValueError(f"no set of {analysis.matched_set} has one row of each level")
    seen = [
        int(((sets["first"] == first) & (sets["other"] == other)).sum())
        for first, other in ((1, 1), (1, 0), (0, 1), (0, 0))
    ]  # fmt: skip
    return Pairs(both=seen[0], exposed_only=seen[1], reference_only=seen[2], neither=seen[3])
