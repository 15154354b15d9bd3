"""Dates as the clinic wrote them, and days that it counted or planned."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.intake.coded import as_text
from pipeline.intake.distinct import distinct_rows
from pipeline.intake.mapped import RAW, Mapped
from schemas.rules.exports import DATES, FILE, files_in_question
from schemas.rules.row_places import starts_of_runs
from schemas.rules.rule import Frames

TWO_NUMBERS_AND_YEAR = r"^\s*(\d{1,2})[./\- ]+(\d{1,2})[./\- ]+(?:\d{4}|\d{2})(?:\s.*)?$"

KINDS = 4  # no such date, day before month, month before day, either
FIRST, SECOND = pl.col("first"), pl.col("second")


def date_texts(tables: Frames) -> pl.DataFrame:
    """Give the dates written as two numbers and a year, in files whose order is in question.

    Columns row_id, clinic_id, file, sheet, table, first, second, whether the order in the file is
    `mixed` or `doubtful`, and whether each date is `ambiguous`.
    """
    numbers = {table: _two_numbers(tables[table].select(RAW + DATES[table])) for table in DATES}
    counts = pl.concat([_counts(tables[table], numbers[table]) for table in DATES])
    judged = files_in_question(counts.group_by(FILE).agg(pl.all().sum()))
    some = {table: tables[table] if judged.height else tables[table].clear() for table in DATES}
    dates = pl.concat([
        frame.select("row_id", *FILE, pl.lit(table).alias("table"))
        .with_columns(numbers[table].rows(frame.height)) for table, frame in some.items()
    ])  # fmt: skip
    return (
        dates.filter(FIRST.is_not_null())
        .join(judged, on=FILE, how="inner", nulls_equal=True, maintain_order="left")
        .with_columns(ambiguous=(FIRST <= 12) & (SECOND <= 12) & (FIRST != SECOND))
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Numbers:
    """The first two numbers of each distinct date, and the place of each row's own."""

    each: pl.DataFrame
    places: pl.Series | None

    def rows(self, height: int) -> pl.DataFrame:
        """Give the numbers of each of the first rows."""
        return self.each.head(height) if self.places is None else self.each[self.places[:height]]


def _two_numbers(texts: pl.DataFrame) -> _Numbers:
    """Read the first two numbers of each date; many rows share one."""
    found = distinct_rows(texts, texts.columns)
    each = as_text(texts) if found is None else found.rows
    numbers = each.select(
        pl.first().str.extract(TWO_NUMBERS_AND_YEAR, place).cast(pl.Int64).alias(name)
        for place, name in ((1, "first"), (2, "second"))
    )
    return _Numbers(each=numbers, places=None if found is None else found.places)


def _counts(rows: pl.DataFrame, numbers: _Numbers) -> pl.DataFrame:
    """Count, in each stretch of rows of a file, the dates and those of one order alone."""
    kind = numbers.each.select(
        pl.when(FIRST.is_null()).then(0)
        .when((FIRST > 12) & (SECOND <= 12)).then(1)
        .when((SECOND > 12) & (FIRST <= 12)).then(2).otherwise(3).cast(pl.UInt8).alias("kind")
    ).to_series()  # fmt: skip
    kinds = kind if numbers.places is None else kind.gather(numbers.places)
    starts = starts_of_runs(rows.select(FILE))
    files = rows.select(FILE).filter(starts)
    each = (starts.cum_sum() - 1) * KINDS + kinds
    counts = np.bincount(each.to_numpy(), minlength=files.height * KINDS).reshape(-1, KINDS)
    return files.with_columns(
        pl.Series("day_first", counts[:, 1], dtype=pl.Int64),
        pl.Series("month_first", counts[:, 2], dtype=pl.Int64),
        pl.Series("dates", counts[:, 1:].sum(axis=1), dtype=pl.Int64),
    )


def day_kinds(rechecks: pl.DataFrame, mapped: Mapped) -> pl.DataFrame:
    """Say of each recheck how its day is known: dated, planned, or counted by the clinic.

    Columns row_id and kind.
    """
    about = (pl.col("table") == "rechecks") & (pl.col("variable") == "recheck_day")
    dated = mapped.dates.filter(about, pl.col("on").is_not_null())["row_id"]
    planned = mapped.marks.filter(about, pl.col("mark") == "nominal")["row_id"].implode()
    return rechecks.select(
        "row_id",
        kind=pl.when(pl.col("row_id").is_in(planned)).then(pl.lit("planned"))
        .when(_listed(rechecks["row_id"], dated)).then(pl.lit("dated"))
        .otherwise(pl.lit("counted")),
    )  # fmt: skip


def _listed(row_ids: pl.Series, listed: pl.Series) -> pl.Expr:
    """Be true where a row is listed; mostly every row is, in the same order."""
    if row_ids.equals(listed):
        return pl.lit(value=True)
    return pl.col("row_id").is_in(listed.implode())
