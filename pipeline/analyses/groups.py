"""The arms of an analysis: one frame a level of the exposure, or one frame for all."""

from collections.abc import Iterator
from dataclasses import replace

import polars as pl

from analysis.design import MOST_FREQUENT, complete_rows, level_text, ordered_levels
from pipeline.analyses.fitted import base_row
from pipeline.analyses.selection import Selection
from pipeline.plan import Analysis
from shared.errors import PlanError
from shared.estimate import Estimate


def complete(selection: Selection, columns: tuple[str, ...]) -> tuple[pl.DataFrame, dict[str, int]]:
    """Keep the rows that have all the columns; count the others under the first they lack."""
    kept, dropped = complete_rows(selection.frame, columns)
    frame = selection.frame.filter(pl.Series(kept))
    if frame.is_empty():
        raise ValueError(f"no row has all of {', '.join(columns)}")
    return frame, dict(dropped)


def rows_of_arms(
    selection: Selection, analysis: Analysis, columns: tuple[str, ...]
) -> tuple[Estimate, pl.DataFrame, dict[str, int]]:
    """Start an estimate arm by arm: its row, the rows with exposure and columns, those dropped."""
    kept, dropped = complete(
        selection, (*(name for name in (analysis.exposure,) if name), *columns)
    )
    base = replace(
        base_row(analysis, selection), adjustment="crude",
        n_dropped=len(selection.frame) - len(kept),
    )  # fmt: skip
    return base, kept, dropped


def arms(frame: pl.DataFrame, analysis: Analysis) -> Iterator[tuple[str | None, pl.DataFrame]]:
    """Give the rows of each level of the exposure, the reference first; or all as one group."""
    if analysis.exposure is None:
        yield None, frame
        return
    text = level_text(frame[analysis.exposure])
    for level in arm_levels(frame, analysis):
        yield level, frame.filter(text == level)


def arm_levels(frame: pl.DataFrame, analysis: Analysis) -> tuple[str, ...]:
    """List the levels of the exposure: as the plan lists them, else in order, reference first.

    Raises
    ------
    PlanError
        If a level that is compared has no row left.
    """
    column = analysis.exposure or ""
    present = ordered_levels(frame[column])
    levels = analysis.levels or present
    for level in levels:
        if level not in present:
            raise PlanError(
                f'analysis "{analysis.id}"',
                f'no row with a known outcome has {column} = "{level}"',
                do="Take the level out of the plan, or look at its population.",
            )
    reference = reference_of(frame, analysis)
    return (reference, *(level for level in levels if level != reference)) if reference else levels


def reference_of(frame: pl.DataFrame, analysis: Analysis) -> str | None:
    """Say against which level the others stand; None where the plan names none."""
    column = analysis.exposure or ""
    reference = analysis.categorical.get(column)
    if reference == MOST_FREQUENT:
        counts = level_text(frame[column]).value_counts().sort(
            "count", column, descending=[True, False]
        )  # fmt: skip
        return str(counts[column][0])
    if reference is None and frame[column].dtype == pl.Boolean:
        return "false"
    return reference


def whole(count: float, *, weighted: bool) -> int | None:
    """Give a count as a whole number; a sum of weights is none."""
    return None if weighted else round(count)
