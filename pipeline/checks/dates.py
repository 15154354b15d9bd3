"""Dates as the clinic wrote them, and days that it counted or planned."""

import polars as pl

from pipeline.intake.coded import as_text
from pipeline.intake.distinct import distinct_rows
from pipeline.intake.mapped import RAW, Mapped
from schemas.rules.exports import DATES, order_of_dates
from schemas.rules.rule import Frames

TWO_NUMBERS_AND_YEAR = r"^\s*(\d{1,2})[./\- ]+(\d{1,2})[./\- ]+(?:\d{4}|\d{2})(?:\s.*)?$"


def date_texts(tables: Frames) -> pl.DataFrame:
    """Give the dates written as two numbers and a year, in files whose order is in question.

    Columns row_id, clinic_id, file, sheet, table, first, second, and what
    ``schemas.rules.exports.order_of_dates`` says of them.
    """
    return order_of_dates(pl.concat([
        frame.select("row_id", "clinic_id", "file", "sheet", pl.lit(table).alias("table"))
        .with_columns(_two_numbers(frame.select(RAW + DATES[table])))
        for table, frame in tables.items() if table in DATES
    ]))  # fmt: skip


def _two_numbers(texts: pl.DataFrame) -> list[pl.Series]:
    """Read the first two numbers of each date; many rows share one."""
    found = distinct_rows(texts, texts.columns)
    each = as_text(texts) if found is None else found.rows
    numbers = each.select(
        pl.first().str.extract(TWO_NUMBERS_AND_YEAR, place).cast(pl.Int64).alias(name)
        for place, name in ((1, "first"), (2, "second"))
    ).get_columns()
    return numbers if found is None else [part.gather(found.places) for part in numbers]


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
