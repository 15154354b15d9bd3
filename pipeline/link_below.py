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
    # Most rows are of an index operation: only the others' days are looked up and moved.
    others = rows.of_others(stifle_rows)
    by = rows.frame["day"].gather(stifle_rows.gather(others))
    first, *later_days = (_moved(table[name], others, by) for name in days)
    left_out = pl.concat([(first < 0).arg_true(), others.filter(by.is_null())])
    counted = table.with_columns(first, *(day.set(day < 0, None) for day in later_days))
    return Below(rows=counted, stifle_no=_joints(rows, stifle_rows, but=left_out))


def of_index(table: pl.DataFrame, rows: Rows, stifle_rows: pl.Series) -> Below:
    """Give a table its joint; only rows that describe an index operation are kept."""
    left_out = rows.of_others(stifle_rows)
    return Below(rows=table, stifle_no=_joints(rows, stifle_rows, but=left_out))


def _moved(days: pl.Series, places: pl.Series, by: pl.Series) -> pl.Series:
    """Move the days at these places; a day that is moved by an unknown time is unknown."""
    if places.is_empty():
        return days
    return days.clone().scatter(places, days.gather(places) + by)  # which changes its column


def _joints(rows: Rows, stifle_rows: pl.Series, *, but: pl.Series) -> pl.Series:
    """Give the joint of each row; null at the places that are left out."""
    joints = rows.frame["stifle_no"].gather(stifle_rows)
    return joints if but.is_empty() else joints.scatter(but, None)


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
