"""Dates of events to days after that stifle's index surgery; birth dates to ages."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

import polars as pl

from pipeline.intake.coded import one_type
from pipeline.intake.grammar import MONTH_DAYS
from pipeline.intake.mapped import DATE_SCHEMA, RAW, Mapped, cell_names, with_names
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
    counted = [
        item for item in variables
        if f"on:{item.name}" in rows.columns and item.unit in ("day", "month")
    ]  # fmt: skip
    moved = _counted_elsewhere(rows, [item.name for item in counted])
    dates = OPERATION_DATES if moved else ("this",)
    changes = [change for item in counted for change in _changes(item, moved=item.name in moved)]
    joined = _with_operations(rows, operations, dates).with_columns(changes)
    unknown = [item.name for item in counted if joined[f"lost:{item.name}"].any()]
    return joined.with_columns(
        pl.when(f"lost:{name}").then(pl.lit(NO_SURGERY_DATE)).otherwise(f"rule:{name}")
        .alias(f"rule:{name}")
        for name in unknown
    ).drop(_named(dates).values(), *(f"lost:{item.name}" for item in counted))  # fmt: skip


def _counted_elsewhere(rows: pl.DataFrame, names: Collection[str]) -> set[str]:
    """Name the variables with a cell that is counted from another operation than its own."""
    found = rows.select((pl.col(f"base:{name}") != "this").any().alias(name) for name in names)
    return {name for name in names if found[name].item()}


def _changes(variable: Variable, *, moved: bool) -> list[pl.Expr]:
    """Give the value, its text, the days as given, and whether there is no date to count from."""
    name = variable.name
    on, given = pl.col(f"on:{name}"), pl.col(name)
    base = pl.col(f"base:{name}") if moved else None
    value = _counted(on, given, base, unit=variable.unit)
    return [
        value.cast(variable.dtype).alias(name),
        _text(pl.col(RAW + name), on, value, unit=variable.unit).alias(RAW + name),
        given.cast(pl.Int64).alias(f"given:{name}"),
        ((on.is_not_null() | given.is_not_null()) & value.is_null()).alias(f"lost:{name}"),
    ]


def date_rows(
    rows: pl.DataFrame, table: str, variables: Iterable[Variable], clinic_id: str
) -> pl.DataFrame:
    """List the dates and day counts that depend on a surgery date."""
    parts = [pl.DataFrame(schema=dict(DATE_SCHEMA))]
    for variable in variables:
        name = variable.name
        cells = rows.select(
            "row_id", on=f"on:{name}", days=f"given:{name}", counted_from=f"base:{name}"
        )
        if cells.select(pl.col("on").null_count()).item():  # else every row, which is then its own
            cells = cells.filter(pl.col("on").is_not_null() | (pl.col("counted_from") != "this"))
        named = {"clinic_id": clinic_id, "table": table, "variable": name}
        parts.append(with_names(cells, named, DATE_SCHEMA))
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
    dates = mapped.dates.join(cell_names(fixed), on=cells, how="anti", maintain_order="left")
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
        rows.join(behind, on="row_id", how="left", maintain_order="left"),
        operations, OPERATION_DATES,
    )  # fmt: skip
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


def _counted(on: pl.Expr, given: pl.Expr, base: pl.Expr | None, *, unit: str) -> pl.Expr:
    """Count days after this stifle's surgery, or the age in whole months on that day.

    Nearer than a month, an age beside the date of surgery would give the date of birth away.
    Without a `base`, days were counted from this surgery throughout.
    """
    this = pl.col("sulca:this")
    if unit == "month":
        age = ((this - on).dt.total_days() / MONTH_DAYS + 0.5).floor()
        return pl.when(on.is_not_null()).then(age).otherwise(given)
    counted = given if base is None else _moved(given, base)
    return pl.when(on.is_not_null()).then((on - this).dt.total_days()).otherwise(counted)


def _moved(given: pl.Expr, base: pl.Expr) -> pl.Expr:
    """Count from this stifle's surgery what was counted from another operation of the animal."""
    start = pl.coalesce(
        pl.when(base == name).then(f"sulca:{name}") for name in OPERATION_DATES if name != "this"
    )
    moved = given + (start - pl.col("sulca:this")).dt.total_days()
    return pl.when((base != "this").fill_null(value=False)).then(moved).otherwise(given)


def _with_operations(
    rows: pl.DataFrame, operations: pl.DataFrame, names: Sequence[str]
) -> pl.DataFrame:
    dates = operations.select("local_stifle", *names).rename(_named(names))
    return with_joined(rows, dates, on="local_stifle")


def _named(names: Iterable[str]) -> dict[str, str]:
    return {name: "sulca:" + name for name in names}
