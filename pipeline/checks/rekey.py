"""What follows when a correction changes the animal or the side of a joint."""

import polars as pl

from pipeline.checks.again import DAYS
from schemas.codebook import Variable

PLACE = ["clinic_id", "file", "sheet", "row"]
SIDES = ("left", "right")


def joint_code(new: str, animal: str, variable: Variable) -> str:
    """Read "left" or "right", given for the joint of a row, as that animal's joint."""
    if variable.name == "local_stifle" and new.casefold() in SIDES:
        return f"{animal}:{new.casefold()}"
    return new


def follow_keys(tables: dict[str, pl.DataFrame], before: pl.DataFrame, row_ids: pl.Series,
                variable: Variable) -> dict[str, pl.DataFrame]:  # fmt: skip
    """Give a stifle row with a new animal or side a new code, and what belongs to it likewise.

    Rows made from the same source row follow; codes that the clinic gave itself stay.
    """
    if variable.table != "stifles" or variable.name not in {"local_animal", "side"}:
        return tables
    named = pl.col("row_id").is_in(row_ids.implode())
    made = pl.concat_str("local_animal", pl.lit(":"), pl.col("side").cast(pl.String).fill_null("?"))
    given = (pl.col("local_stifle") != made).fill_null(value=False)
    old = before.filter(named & ~given).select("row_id", *PLACE, was="local_stifle")
    stifles = tables["stifles"].with_columns(
        pl.when(pl.col("row_id").is_in(old["row_id"].implode())).then(made)
        .otherwise(pl.col("local_stifle")).alias("local_stifle")
    )  # fmt: skip
    codes = old.join(stifles.select("row_id", now="local_stifle"), on="row_id").drop("row_id")
    left = {**tables, "stifles": stifles}
    for table in (*DAYS, "procedures"):
        joined = tables[table].join(
            codes.rename({"was": "local_stifle"}), on=[*PLACE, "local_stifle"], how="left",
            maintain_order="left", nulls_equal=True,
        )  # fmt: skip
        left[table] = joined.with_columns(local_stifle=pl.coalesce("now", "local_stifle")).drop(
            "now"
        )
    return left
