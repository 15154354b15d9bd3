"""What is unknown of joints until a clinic answers: as given, and as linking finds."""

import polars as pl

from pipeline.by_number import marked
from pipeline.link_rows import Rows

HOLD = ("stifle_id", "target", "rule")


def link_holds(
    holds: pl.DataFrame, asked: pl.DataFrame, rows: Rows,
    *, stifle_rows: pl.Series, told: pl.DataFrame,
) -> pl.DataFrame:  # fmt: skip
    """Give the holds of joints: stifle_id, target, rule.

    Parameters
    ----------
    holds
        One row per held variable or outcome: clinic_id, local_stifle, target, rule.
    asked
        Findings of linking that are open.
    stifle_rows
        For each hold its row of stifles; the holds of a clinic's stifle follow the joint.
    told
        The rows that linking may ask about, as ``link_findings`` has them.
    """
    own = [
        pl.DataFrame({"stifle_no": joints}).with_columns(
            target=pl.lit("outcome:all"), rule=pl.lit(rule)
        )
        for rule, joints in (("R70", _undated(rows)), ("R04", _told_unlike(asked, rows, told)))
    ]
    given = holds.select(
        rows.frame["stifle_no"].gather(stifle_rows), pl.col("target", "rule").cast(pl.String)
    )
    held = pl.concat([given, *own]).drop_nulls("stifle_no")
    named = held.with_columns(stifle_id=rows.index["stifle_id"].gather(held["stifle_no"]))
    return named.select(pl.col(HOLD).cast(pl.String)).unique().sort(HOLD)


def _undated(rows: Rows) -> pl.Series:
    """Give joints with an operation that cannot be dated."""
    return rows.frame.filter(pl.col("day").is_null())["stifle_no"]


def _told_unlike(asked: pl.DataFrame, rows: Rows, told: pl.DataFrame) -> pl.Series:
    """Give the joints of animals that clinics tell unlike."""
    open_ = asked.filter(pl.col("rule") == "R04")["row_id"]
    animals = told.filter(pl.col("row_id").is_in(open_.implode()))["animal_no"]
    unlike = marked(animals.drop_nulls(), rows.animals.height)
    return rows.frame.filter(unlike.gather(rows.frame["animal_no"]))["stifle_no"]
