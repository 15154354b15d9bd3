"""Dates of events to days after that stifle's index surgery; birth dates to ages."""

from collections.abc import Collection, Iterable
from dataclasses import replace

import polars as pl

from pipeline.intake.coded import one_type
from pipeline.intake.grammar import MONTH_DAYS
from pipeline.intake.mapped import DATE_SCHEMA, RAW, Mapped
from pipeline.intake.operations import index_operations, with_joined
from schemas.codebook import Variable

NO_SURGERY_DATE = "M07"
OPERATION_DATES = ("this", "first", "last", "left", "right")


def count_days(
    rows: pl.DataFrame, variables: Iterable[Variable], operations: pl.DataFrame
) -> pl.DataFrame:
    """Resolve every variable that was given as a date or counted from a declared operation.

    A day counted from another operation of the animal is moved to this stifle's own day 0.
    Where the surgery date is not known the value stays null with rule M07.
    """
    changes: list[pl.Expr] = []
    for variable in variables:
        name = variable.name
        on, base, given = f"on:{name}", pl.col(f"base:{name}"), pl.col(name)
        if on not in rows.columns or variable.unit not in ("day", "month"):
            continue
        value = _counted(pl.col(on), given, base, unit=variable.unit)
        lost = (pl.col(on).is_not_null() | given.is_not_null()) & value.is_null()
        changes += [
            value.cast(variable.dtype).alias(name),
            _text(pl.col(RAW + name), pl.col(on), value, unit=variable.unit).alias(RAW + name),
            given.cast(pl.Int64).alias(f"given:{name}"),
            pl.when(lost).then(pl.lit(NO_SURGERY_DATE)).otherwise(f"rule:{name}")
            .alias(f"rule:{name}"),
        ]  # fmt: skip
    joined = _with_operations(rows, operations)
    return joined.with_columns(changes).drop(_named(OPERATION_DATES).values())


def date_rows(
    rows: pl.DataFrame, table: str, variables: Iterable[Variable], clinic_id: str
) -> pl.DataFrame:
    """List the dates and day counts that depend on a surgery date."""
    parts = [pl.DataFrame(schema=dict(DATE_SCHEMA))]
    for variable in variables:
        name = variable.name
        dated = rows.select(
            "row_id", on=f"on:{name}", days=f"given:{name}", counted_from=f"base:{name}"
        ).filter(pl.col("on").is_not_null() | (pl.col("counted_from") != "this"))
        parts.append(
            dated.select(
                clinic_id=pl.lit(clinic_id), table=pl.lit(table), row_id="row_id",
                variable=pl.lit(name), on="on", days="days", counted_from="counted_from",
            )
        )  # fmt: skip
    return pl.concat(parts)


def recount_days(
    mapped: Mapped, codebook: Iterable[Variable], *, settled: Collection[tuple[str, str]] = ()
) -> Mapped:
    """Count every day and age again from the surgery dates as they stand now.

    For use after corrections: a corrected surgery date moves the days of all that followed, and
    answers what was asked because it was not known (M07). Values that were given as plain days
    after that stifle's own surgery stay as they are.

    Parameters
    ----------
    settled
        Cells (row_id, variable) that were corrected themselves and must stay.
    """
    tables, cells = dict(mapped.tables), ["row_id", "variable"]
    fixed = pl.DataFrame(list(settled), schema=dict.fromkeys(cells, pl.String), orient="row")
    dates = mapped.dates.join(fixed, on=cells, how="anti", maintain_order="left")
    operations = {
        clinic: index_operations(rows)
        for (clinic,), rows in tables["stifles"].group_by("clinic_id", maintain_order=True)
    }
    known = [fixed.clear()]
    for variable in codebook:
        given = dates.filter(table=variable.table, variable=variable.name)
        if given.is_empty():
            continue
        parts = tables[variable.table].group_by("clinic_id", maintain_order=True)
        tables[variable.table] = pl.concat(one_type([
            _recounted(rows, given, variable, operations.get(clinic)) for (clinic,), rows in parts
        ]))  # fmt: skip
        told = tables[variable.table].filter(pl.col(variable.name).is_not_null())
        known.append(told.select("row_id", variable=pl.lit(variable.name)))
    answered = pl.concat(known).with_columns(rule=pl.lit(NO_SURGERY_DATE))
    open_still = mapped.findings.join(
        answered, on=[*cells, "rule"], how="anti", maintain_order="left"
    )
    return replace(mapped, tables=tables, findings=open_still)


def _recounted(
    rows: pl.DataFrame, given: pl.DataFrame, variable: Variable, operations: pl.DataFrame | None
) -> pl.DataFrame:
    if operations is None:
        return rows
    behind = given.select("row_id", "on", "days", "counted_from")
    joined = _with_operations(
        rows.join(behind, on="row_id", how="left", maintain_order="left"), operations
    )
    value = _counted(pl.col("on"), pl.col("days"), pl.col("counted_from"), unit=variable.unit)
    known = pl.col("on").is_not_null() | pl.col("days").is_not_null()
    raw = RAW + variable.name
    return joined.with_columns(
        pl.when(known).then(value.cast(variable.dtype)).otherwise(variable.name)
        .alias(variable.name),
        _text(pl.col(raw), pl.col("on"), value, unit=variable.unit).alias(raw),
    ).select(rows.columns)  # fmt: skip


def _text(raw: pl.Expr, on: pl.Expr, value: pl.Expr, *, unit: str) -> pl.Expr:
    """Give the text to keep of a cell: of a date of birth only the age made from it."""
    if unit != "month":
        return raw
    born = on.is_not_null() & value.is_not_null()
    return pl.when(born).then(value.cast(pl.Int64).cast(pl.String)).otherwise(raw)


def _counted(on: pl.Expr, given: pl.Expr, base: pl.Expr, *, unit: str) -> pl.Expr:
    """Count days after this stifle's surgery, or the age in whole months on that day.

    Nearer than a month, an age beside the date of surgery would give the date of birth away.
    """
    this = pl.col("sulca:this")
    if unit == "month":
        age = ((this - on).dt.total_days() / MONTH_DAYS + 0.5).floor()
        return pl.when(on.is_not_null()).then(age).otherwise(given)
    start = pl.coalesce(
        pl.when(base == name).then(f"sulca:{name}") for name in OPERATION_DATES if name != "this"
    )
    moved = given + (start - this).dt.total_days()
    counted = pl.when((base != "this").fill_null(value=False)).then(moved).otherwise(given)
    return pl.when(on.is_not_null()).then((on - this).dt.total_days()).otherwise(counted)


def _with_operations(rows: pl.DataFrame, operations: pl.DataFrame) -> pl.DataFrame:
    dates = operations.select("local_stifle", *OPERATION_DATES).rename(_named(OPERATION_DATES))
    return with_joined(rows, dates, on="local_stifle")


def _named(names: Iterable[str]) -> dict[str, str]:
    return {name: "sulca:" + name for name in names}
