"""Dates as the clinic wrote them, and days that it counted or planned."""

import polars as pl

from pipeline.intake.mapped import RAW, Mapped
from schemas.rules.exports import DATES
from schemas.rules.rule import Frames

TWO_NUMBERS_AND_YEAR = r"^\s*(\d{1,2})[./\- ]+(\d{1,2})[./\- ]+(?:\d{4}|\d{2})(?:\s.*)?$"


def date_texts(tables: Frames) -> pl.DataFrame:
    """Give each date written as two numbers and a year, with the two numbers.

    Columns row_id, clinic_id, file, sheet, table, first, second.
    """
    found = [
        frame.select(
            "row_id", "clinic_id", "file", "sheet", pl.lit(table).alias("table"),
            pl.col(RAW + DATES[table]).str.extract(TWO_NUMBERS_AND_YEAR, 1)
            .cast(pl.Int64).alias("first"),
            pl.col(RAW + DATES[table]).str.extract(TWO_NUMBERS_AND_YEAR, 2)
            .cast(pl.Int64).alias("second"),
        )
        for table, frame in tables.items() if table in DATES
    ]  # fmt: skip
    return pl.concat(found).filter(pl.col("first").is_not_null())


def day_kinds(rechecks: pl.DataFrame, mapped: Mapped) -> pl.DataFrame:
    """Say of each recheck how its day is known: dated, planned, or counted by the clinic.

    Columns row_id and kind.
    """
    about = (pl.col("table") == "rechecks") & (pl.col("variable") == "recheck_day")
    dated = mapped.dates.filter(about, pl.col("on").is_not_null())["row_id"].implode()
    planned = mapped.marks.filter(about, pl.col("mark") == "nominal")["row_id"].implode()
    return rechecks.select(
        "row_id",
        kind=pl.when(pl.col("row_id").is_in(planned)).then(pl.lit("planned"))
        .when(pl.col("row_id").is_in(dated)).then(pl.lit("dated"))
        .otherwise(pl.lit("counted")),
    )  # fmt: skip
