"""What follows when a correction changes the animal, side or day of surgery of a joint."""

import polars as pl

from pipeline.checks.again import DAYS
from pipeline.intake.mapped import RAW
from schemas.codebook import Variable

PLACE = ["clinic_id", "file", "sheet", "row"]
STIFLE = ["clinic_id", "local_stifle"]
DATE_TEXT = r"\d\D+\d+\D+\d|\d\D+\d{4}"


def follow_keys(tables: dict[str, pl.DataFrame], before: pl.DataFrame, row_ids: pl.Series,
                variable: Variable) -> dict[str, pl.DataFrame]:  # fmt: skip
    """Carry a corrected key of a stifle row over to the rows that depend on it.

    A new animal or side makes a new stifle code, for the row and for those made from the same
    source row; a new day of surgery moves the days that intake counted from dates.
    """
    if variable.table != "stifles":
        return tables
    named = pl.col("row_id").is_in(row_ids.implode())
    old = before.filter(named)
    if variable.name in {"local_animal", "side"}:
        return _new_codes(tables, old)
    if variable.name == "surgery_date":
        return _new_days(tables, old)
    return tables


def _new_codes(tables: dict[str, pl.DataFrame], old: pl.DataFrame) -> dict[str, pl.DataFrame]:
    made = pl.format("{}:{}", "local_animal", "side")
    own = old["local_stifle"].is_null() | (old["local_stifle"] == old.select(made).to_series())
    named = pl.col("row_id").is_in(old.filter(own)["row_id"].implode())
    stifles = tables["stifles"].with_columns(
        pl.when(named).then(made).otherwise(pl.col("local_stifle")).alias("local_stifle")
    )
    codes = old.select("row_id", *PLACE, was="local_stifle").join(
        stifles.filter(named).select("row_id", now="local_stifle"), on="row_id"
    )
    left = {**tables, "stifles": stifles}
    for table in (*DAYS, "procedures"):
        joined = tables[table].join(
            codes.drop("row_id").rename({"was": "local_stifle"}), on=[*PLACE, "local_stifle"],
            how="left", maintain_order="left", nulls_equal=True,
        )  # fmt: skip
        left[table] = joined.with_columns(local_stifle=pl.coalesce("now", "local_stifle")).drop(
            "now"
        )
    return left


def _new_days(tables: dict[str, pl.DataFrame], old: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Move days whose cell held a date; a day that was written as a number stays."""
    now = tables["stifles"].select("row_id", now="surgery_date")
    moved = old.join(now, on="row_id").select(
        *STIFLE, days=(pl.col("surgery_date") - pl.col("now")).dt.total_days()
    )
    left = dict(tables)
    for table, days in {**DAYS, "stifles": ("end_of_followup_day",)}.items():
        joined = tables[table].join(moved, on=STIFLE, how="left", maintain_order="left")
        left[table] = joined.with_columns(
            pl.when(pl.col(RAW + day).str.contains(DATE_TEXT))
            .then(pl.col(day) + pl.col("days").fill_null(0)).otherwise(pl.col(day)).alias(day)
            for day in days
        ).drop("days")  # fmt: skip
    return left
