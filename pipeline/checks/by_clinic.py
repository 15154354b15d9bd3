"""How many rows a clinic has: its rows mostly follow each other, and are counted as runs."""

import polars as pl

RUN_SCHEMA = {"clinic_id": pl.String(), "rows": pl.Int64(), "filled": pl.Int64()}
MANY_RUNS = 1_000  # from so many, rows are counted one by one


def count_by_clinic(frame: pl.DataFrame, name: str = "clinic_id") -> pl.DataFrame:
    """Count the rows of each clinic, and those in which a column is filled.

    Returns
    -------
    pl.DataFrame
        Columns clinic_id, rows, filled; a row per clinic that has rows, in no certain order.
    """
    if frame.is_empty():
        return pl.DataFrame(schema=RUN_SCHEMA)
    runs = frame.select(pl.col("clinic_id").rle()).unnest("clinic_id")
    counts = pl.col("rows", "filled").sum()
    if runs.height > MANY_RUNS:
        runs = frame.select(
            "clinic_id", rows=pl.lit(1, pl.Int64), filled=pl.col(name).is_not_null().cast(pl.Int64)
        )
    else:
        runs = runs.select(
            clinic_id="value", rows=pl.col("len").cast(pl.Int64), filled=_filled(frame[name], runs)
        )
    return runs.group_by("clinic_id").agg(counts)


def _filled(values: pl.Series, runs: pl.DataFrame) -> pl.Series:
    ends = runs["len"].cum_sum().to_list()
    parts = (values.slice(end - rows, rows)
             for end, rows in zip(ends, runs["len"].to_list(), strict=True))  # fmt: skip
    return pl.Series([part.len() - part.null_count() for part in parts], dtype=pl.Int64)
