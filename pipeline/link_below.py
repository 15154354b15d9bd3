"""Tables below the stifles: each row gets its joint, its days count from the index operation."""

from collections.abc import Mapping

import polars as pl

from pipeline.link_rows import Rows
from pipeline.linked import Below

# Days that are counted from the reporting clinic's own operation on the joint.
DAYS: Mapping[str, tuple[str, ...]] = {
    "rechecks": ("recheck_day",),
    "complications": ("detected_day", "last_negative_day", "resolved_day"),
    "revisions": ("revision_day",),
}
# What describes the index operation itself; other operations' rows are no part of it.
OF_THE_INDEX = ("procedures", "implants", "measurements")


def follow(
    table: pl.DataFrame, rows: Rows, stifle_rows: pl.Series, *, days: tuple[str, ...]
) -> Below:
    """Give a table below the stifles its joint and count its days from the index operation.

    Rows of an operation whose day is not known cannot be dated and are left out (the joint's
    outcomes are held); so are rows before day 0, which belong to an earlier operation.
    """
    at = rows.at(stifle_rows, "stifle_no", "day")
    first, *others = days
    day = table[first] + at["day"]
    keep = at["day"].is_not_null() & (day.is_null() | (day >= 0))
    counted = table.with_columns(
        day,
        *(pl.when(pl.col(name) + at["day"] >= 0).then(pl.col(name) + at["day"]).alias(name)
          for name in others),
    )  # fmt: skip
    return Below(rows=counted, stifle_no=at["stifle_no"].set(~keep, None))


def of_index(table: pl.DataFrame, rows: Rows, stifle_rows: pl.Series) -> Below:
    """Give a table its joint; only rows that describe an index operation are kept."""
    at = rows.at(stifle_rows, "stifle_no", "kind")
    of_another = (at["kind"] != "index").fill_null(value=True)
    return Below(rows=table, stifle_no=at["stifle_no"].set(of_another, None))


def with_window(table: pl.DataFrame, name: str, marks: pl.DataFrame) -> pl.DataFrame:
    """Put beside each row the half width of its day, where that is a planned one."""
    nominal = marks.filter(
        (pl.col("mark") == "nominal")
        & (pl.col("table") == name)
        & (pl.col("variable") == DAYS[name][0])
    )
    windows = nominal.select("row_id", "window_days").unique("row_id", keep="first")
    if windows.is_empty():
        return table.with_columns(window_days=pl.lit(None, pl.Int64))
    return table.join(windows, on="row_id", how="left", maintain_order="left")


def later(operations: pl.DataFrame, rows: Rows, *, reasons: pl.DataType) -> Below:
    """Give the joint of each later operation, in their order; reasons are of the type given."""
    placed = operations.select(
        "revision_day", "clinic_id", pl.col("revision_reason").cast(reasons), "row_id", "derived",
        "window_days",
        stifle_no=rows.frame["stifle_no"].gather(operations["index_row"]),
    ).sort("stifle_no", "revision_day", nulls_last=True)  # fmt: skip
    return Below(rows=placed.drop("stifle_no"), stifle_no=placed["stifle_no"])
