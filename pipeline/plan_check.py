"""A plan against a table: columns, levels, events and numbers are what the plan says."""

from collections.abc import Iterator

import polars as pl

from analysis.design import level_text
from pipeline.plan import Analysis
from pipeline.plan_times import time_faults
from shared.errors import PlanError, nearest

CENSORED, OF_INTEREST = 0, 1  # codes of a coded event; competing states follow from 2


def check_plan(analysis: Analysis, frame: pl.DataFrame) -> None:
    """Refuse an analysis that the table cannot serve, before anything is fitted.

    Raises
    ------
    PlanError
        If a column, a level or a state is not there, an event is neither 0/1 nor a named state,
        or a time is no number, negative or impossible; it names the column, the count and a row.
    """
    place = f'analysis "{analysis.id}"'
    _refuse_absent_columns(place, frame, analysis)
    for column, levels in analysis.where.items():
        _refuse_absent_levels(place, frame, column, levels)
    if analysis.exposure:
        _refuse_absent_levels(place, frame, analysis.exposure, analysis.levels)
    if analysis.population:
        _refuse_odd_set(place, frame, set_column(analysis.population))
    happened = code_events(frame, analysis) != CENSORED if analysis.event else None
    if analysis.outcome:
        code_outcome(frame, analysis)
    for column in (
        analysis.time, analysis.entry, analysis.weights, analysis.left, analysis.right,
    ):  # fmt: skip
        if column:
            _refuse_bad_numbers(place, frame, column)
    for bad, what in time_faults(analysis, frame, happened=happened):
        _refuse(place, frame, bad, what)


def columns_of(analysis: Analysis) -> Iterator[tuple[str, str]]:
    """Give every column an analysis reads, with the key that names it."""
    for key in (
        "time",
        "event",
        "entry",
        "left",
        "right",
        "outcome",
        "weights",
        "exposure",
        "cluster",
        "validate_by",
        "matched_set",
        "random_intercept",
    ):
        if column := getattr(analysis, key):
            yield key, column
    if analysis.population:
        yield "population", set_column(analysis.population)
    for key in ("adjust_for", "observation_terms", "strata", "where"):
        for column in getattr(analysis, key):
            yield key, column


def set_column(population: str) -> str:
    """Name the column of the cohort that marks a set: "B" is set_b."""
    return f"set_{population.lower()}"


def code_events(frame: pl.DataFrame, analysis: Analysis) -> pl.Series:
    """Code the event column: 0 censored, 1 of interest, 2 and on the competing states in order.

    A missing event stays missing.

    Raises
    ------
    PlanError
        If a value is none of the states, or none of 0, 1, false and true.
    """
    column = analysis.event or ""
    text = level_text(frame[column])
    if analysis.event_of_interest is None:
        codes = {"0": CENSORED, "1": OF_INTEREST, "false": CENSORED, "true": OF_INTEREST}
        wanted = "An event is 0 or 1, true or false; name the states with event_of_interest"
    else:
        states = (analysis.event_of_interest, *analysis.competing)
        codes = {state: code for code, state in enumerate(states, start=OF_INTEREST)}
        codes[analysis.censored or ""] = CENSORED
        wanted = f"The plan names {', '.join(codes)}"
    unknown = text.is_not_null() & ~text.is_in(list(codes))
    if unknown.any():
        value = text.filter(unknown).sort()[0]
        _refuse(f'analysis "{analysis.id}"', frame, text == value,
                f'the column "{column}" holds "{value}"', do=wanted + ".")  # fmt: skip
    return text.replace_strict(codes, return_dtype=pl.Int64)


def code_outcome(frame: pl.DataFrame, analysis: Analysis) -> pl.Series:
    """Code a yes/no outcome as 1 and 0; a missing one stays missing.

    Raises
    ------
    PlanError
        If a value is none of 0, 1, false and true.
    """
    column = analysis.outcome or ""
    text = level_text(frame[column])
    codes = {"0": 0, "1": 1, "false": 0, "true": 1}
    unknown = text.is_not_null() & ~text.is_in(list(codes))
    if unknown.any():
        value = text.filter(unknown).sort()[0]
        _refuse(f'analysis "{analysis.id}"', frame, text == value,
                f'the column "{column}" holds "{value}"',
                do="An outcome is 0 or 1, true or false.")  # fmt: skip
    return text.replace_strict(codes, return_dtype=pl.Int64)


def _refuse_absent_columns(place: str, frame: pl.DataFrame, analysis: Analysis) -> None:
    for key, column in columns_of(analysis):
        if column not in frame.columns:
            raise PlanError(
                place,
                f'{key} names the column "{column}", which is not in the table',
                do=nearest(column, frame.columns),
            )


def _refuse_absent_levels(
    place: str, frame: pl.DataFrame, column: str, levels: tuple[str, ...]
) -> None:
    present = level_text(frame[column].drop_nulls().unique()).to_list()
    for level in levels:
        if level not in present:
            raise PlanError(
                place, f'no row of the column "{column}" has the level "{level}"',
                do=nearest(level, present) if present else "The column is empty.",
            )  # fmt: skip


def _refuse_odd_set(place: str, frame: pl.DataFrame, column: str) -> None:
    text = level_text(frame[column])
    strange = text.is_null() | ~text.is_in(["true", "false"])
    _refuse(place, frame, strange, f'the column "{column}" holds neither true nor false')


def _refuse_bad_numbers(place: str, frame: pl.DataFrame, column: str) -> None:
    values = frame[column]
    if not values.dtype.is_numeric():
        raise PlanError(
            place, f'the column "{column}" must hold numbers, not {values.dtype}',
            do="Name a column of numbers.",
        )  # fmt: skip
    numbers = values.cast(pl.Float64)
    _refuse(place, frame, ~numbers.is_finite(), f'the column "{column}" holds no finite number')
    _refuse(place, frame, numbers < 0, f'the column "{column}" is negative')


def _refuse(
    place: str, frame: pl.DataFrame, bad: pl.Series, what: str, *, do: str = "Mend the table."
) -> None:
    """Refuse rows, saying how many there are and where the first stands."""
    rows = bad.fill_null(value=False).arg_true()
    if len(rows) == 0:
        return
    first = int(rows[0])
    where = frame["stifle_id"][first] if "stifle_id" in frame.columns else f"row {first + 2}"
    many = "1 row" if len(rows) == 1 else f"{len(rows)} rows"
    raise PlanError(place, f"{what} in {many}, first in {where}", do=do)
