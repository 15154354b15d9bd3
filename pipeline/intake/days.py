"""Dates of events to days after that stifle's index surgery; birth dates to ages."""

import polars as pl

from pipeline.intake.grammar import MONTH_DAYS
from schemas.codebook import Variable

NO_SURGERY_DATE = "M07"
OPERATION_DATES = ("this", "first", "last", "left", "right")


def count_days(
    rows: pl.DataFrame, variables: tuple[Variable, ...], operations: pl.DataFrame
) -> pl.DataFrame:
    """Resolve every variable that was given as a date or counted from a declared operation.

    A day counted from another operation of the animal is moved to this stifle's own day 0.
    Where the surgery date is not known the value stays null with rule M07.
    """
    dates = operations.select("local_stifle", *OPERATION_DATES).rename(
        {name: f"sulca:{name}" for name in OPERATION_DATES}
    )
    joined = rows.join(dates, on="local_stifle", how="left", maintain_order="left")
    changes: list[pl.Expr] = []
    for variable in variables:
        on = pl.col(f"on:{variable.name}")
        if variable.unit == "day" and f"on:{variable.name}" in rows.columns:
            changes += _days(variable, on)
        elif variable.unit == "month" and f"on:{variable.name}" in rows.columns:
            changes += _age(variable, on)
    return joined.with_columns(changes).drop(f"sulca:{name}" for name in OPERATION_DATES)


def _days(variable: Variable, on: pl.Expr) -> list[pl.Expr]:
    this, base = pl.col("sulca:this"), pl.col(f"base:{variable.name}")
    start = pl.coalesce(
        pl.when(base == name).then(f"sulca:{name}") for name in OPERATION_DATES if name != "this"
    )
    moved = pl.col(variable.name) + (start - this).dt.total_days()
    counted = pl.when(base == "this").then(variable.name).otherwise(moved)
    value = pl.when(on.is_not_null()).then((on - this).dt.total_days()).otherwise(counted)
    given = on.is_not_null() | pl.col(variable.name).is_not_null()
    return [
        value.cast(variable.dtype).alias(variable.name),
        _rule(variable, given & value.is_null()),
    ]


def _age(variable: Variable, on: pl.Expr) -> list[pl.Expr]:
    age = (pl.col("sulca:this") - on).dt.total_days() / MONTH_DAYS
    value = pl.when(on.is_not_null()).then(age).otherwise(variable.name)
    return [value.alias(variable.name), _rule(variable, on.is_not_null() & value.is_null())]


def _rule(variable: Variable, broken: pl.Expr) -> pl.Expr:
    name = f"rule:{variable.name}"
    return pl.when(broken).then(pl.lit(NO_SURGERY_DATE)).otherwise(name).alias(name)
