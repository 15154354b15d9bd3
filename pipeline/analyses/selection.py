"""Which rows an analysis looks at, and how many it leaves out and why."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from analysis.design import level_text
from pipeline.plan import Analysis
from pipeline.plan_check import code_events, code_outcome, set_column
from shared.errors import PlanError

EVENT, OUTCOME = "coded event", "coded outcome"  # no column of a table is called so
SETS: Mapping[str, str] = {
    "A": "all eligible stifles",
    "B": "stifles with adequate follow-up",
    "C": "first operated stifle of each animal",
    "D": "transpositions held with K-wires",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Selection:
    """Rows of one analysis, with its outcome coded.

    Attributes
    ----------
    frame
        The rows; beside the table's columns "coded event" or "coded outcome" (see plan_check).
    source
        Column behind the coded outcome.
    n_population
        Rows of the population before the exposure's levels are looked at.
    n_other_levels
        Rows left out because their exposure is none of the levels compared.
    n_held
        Rows whose outcome waits for an answer from the clinic.
    """

    frame: pl.DataFrame
    source: str | None
    n_population: int
    n_other_levels: int
    n_held: int


def select_rows(frame: pl.DataFrame, analysis: Analysis) -> Selection:
    """Take the population, code the outcome, and keep the levels that are compared.

    Raises
    ------
    PlanError
        If nobody is left.
    """
    if analysis.event:
        frame = frame.with_columns(code_events(frame, analysis).alias(EVENT))
    if analysis.outcome:
        frame = frame.with_columns(code_outcome(frame, analysis).alias(OUTCOME))
    population = _population(frame, analysis)
    kept = population
    if analysis.exposure and analysis.levels:
        text = level_text(population[analysis.exposure])
        kept = population.filter(text.is_null() | text.is_in(analysis.levels))
    if kept.is_empty():
        raise PlanError(
            f'analysis "{analysis.id}"', "nobody is left in its population",
            do="Look at population, where and levels in the plan.",
        )  # fmt: skip
    held = held_column(analysis, kept.columns)
    return Selection(
        frame=kept,
        source=analysis.outcome or analysis.event,
        n_population=len(population),
        n_other_levels=len(population) - len(kept),
        n_held=int((level_text(kept[held]) == "true").sum()) if held else 0,
    )


def population_label(analysis: Analysis) -> str | None:
    """Say in words whom an analysis is about."""
    parts = [SETS[analysis.population]] if analysis.population else []
    parts += [f"{column}: {', '.join(levels)}" for column, levels in analysis.where.items()]
    return "; ".join(parts) or None


def held_column(analysis: Analysis, columns: list[str]) -> str | None:
    """Name the column that says whether this outcome is held, if the table has one.

    An outcome that settles held rows one way or the other (relux_day_held_free) has none.
    """
    source = analysis.time or analysis.outcome or ""
    if source.endswith(("_held_event", "_held_free")):
        return None
    name = f"{source.split('_')[0]}_held"
    return name if name in columns else None


def _population(frame: pl.DataFrame, analysis: Analysis) -> pl.DataFrame:
    if analysis.population:
        frame = frame.filter(level_text(frame[set_column(analysis.population)]) == "true")
        if "left_at" in frame.columns:
            frame = frame.filter(pl.col("left_at").is_null())
    for column, levels in analysis.where.items():
        frame = frame.filter(level_text(frame[column]).is_in(levels))
    return frame
