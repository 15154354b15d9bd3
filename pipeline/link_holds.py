"""What is unknown of joints until a clinic answers: as given, and as linking finds."""

import polars as pl

from pipeline.link_keys import STIFLE
from pipeline.link_rows import Rows

HOLD = ("stifle_id", "target", "rule")


def link_holds(
    holds: pl.DataFrame, asked: pl.DataFrame, rows: Rows, stifles: pl.DataFrame
) -> pl.DataFrame:
    """Give the holds of joints: stifle_id, target, rule.

    Parameters
    ----------
    holds
        One row per held variable or outcome: clinic_id, local_stifle, target, rule.
    asked
        Findings of linking that are open.
    """
    own = [
        pl.DataFrame({"stifle_no": joints}).with_columns(
            target=pl.lit("outcome:all"), rule=pl.lit(rule)
        )
        for rule, joints in (("R70", _undated(rows)), ("R04", _told_unlike(asked, rows, stifles)))
    ]
    held = pl.concat([_of_joints(holds, rows, stifles), *own]).drop_nulls("stifle_no")
    named = held.with_columns(stifle_id=rows.index["stifle_id"].gather(held["stifle_no"]))
    return named.select(pl.col(HOLD).cast(pl.String)).unique().sort(HOLD)


def _of_joints(holds: pl.DataFrame, rows: Rows, stifles: pl.DataFrame) -> pl.DataFrame:
    """Let what is held of a clinic's stifle follow its joint."""
    keys = stifles.select(*STIFLE, rows.frame["stifle_no"])
    held = holds.join(keys, on=STIFLE, how="inner")
    return held.select("stifle_no", pl.col("target", "rule").cast(pl.String))


def _undated(rows: Rows) -> pl.Series:
    """Give joints with an operation that cannot be dated."""
    return rows.frame.filter(pl.col("day").is_null())["stifle_no"]


def _told_unlike(asked: pl.DataFrame, rows: Rows, stifles: pl.DataFrame) -> pl.Series:
    """Give the joints of animals that clinics tell unlike."""
    open_ = asked.filter(pl.col("rule") == "R04")["row_id"]
    places = stifles.select(pl.col("row_id").is_in(open_.implode()).arg_true()).to_series()
    animals = rows.at(places, "animal_no").to_series().unique()
    return rows.frame.filter(pl.col("animal_no").is_in(animals.implode()))["stifle_no"]
