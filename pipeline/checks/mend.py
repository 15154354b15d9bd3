"""A corrected cell: its new value, or the date from which its day or age is counted."""

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import polars as pl

from pipeline.checks.rekey import follow_keys, joint_code
from pipeline.checks.values import read_value
from pipeline.intake.mapped import DATE_SCHEMA, RAW, Mapped, raw_text
from schemas.codebook import Variable

if TYPE_CHECKING:
    from pipeline.corrections_file import Correction


def mend(mapped: Mapped, row_ids: pl.Series, variable: Variable, item: "Correction") -> Mapped:
    """Put a new value into the cells, or the date from which a day or age is counted."""
    named = pl.col("row_id").is_in(row_ids.implode())
    new = joint_code(item.new, item.animal, variable)
    value = read_value(new, variable, "corrections.csv")
    dated = isinstance(value, date) and variable.kind != "date"
    before = mapped.tables[item.table]
    after = before.with_columns(
        pl.when(named).then(pl.lit(None if dated else value, dtype=variable.dtype))
        .otherwise(pl.col(variable.name)).alias(variable.name),
        pl.when(named).then(pl.lit(new)).otherwise(raw_text(variable.name))
        .alias(RAW + variable.name),
    )  # fmt: skip
    tables = follow_keys({**mapped.tables, item.table: after}, before, row_ids, variable)
    if not dated:
        return replace(mapped, tables=tables)
    rows = before.filter(named)
    return replace(mapped, tables=tables, dates=_with_date(mapped.dates, rows, item, value))


def _with_date(dates: pl.DataFrame, rows: pl.DataFrame, item: "Correction", value: object
               ) -> pl.DataFrame:  # fmt: skip
    cell = ["row_id", "variable"]
    added = rows.select(
        "clinic_id", "row_id", table=pl.lit(item.table), variable=pl.lit(item.variable),
        on=pl.lit(value, pl.Date), days=pl.lit(None, pl.Int64), counted_from=pl.lit("this"),
    ).select(pl.col(name).cast(dtype) for name, dtype in DATE_SCHEMA.items())  # fmt: skip
    return pl.concat([dates.join(added, on=cell, how="anti", maintain_order="left"), added])
