"""Dates as the clinic wrote them, where day and month could be taken for one another."""

import polars as pl

from pipeline.intake.mapped import RAW
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
