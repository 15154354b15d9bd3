"""What is worked out once for a stifle or animal, and then stands beside each row of it."""

from collections.abc import Mapping

import polars as pl

from schemas.rules.conditions import ONE_ROW_OF

DEAD = ("died", "euthanised")
SHIFTED = pl.col("clinics.dates_shifted").fill_null(value=False)
LOCK_DAY = (
    pl.when(SHIFTED)
    .then(pl.col("lock_day"))
    .otherwise((pl.col("clinics.data_lock_date") - pl.col("surgery_date")).dt.total_days())
)
DEATH_DAY = pl.when(pl.col("end_status").is_in(DEAD)).then(pl.col("end_of_followup_day"))
STANDS = pl.col("row_id").is_not_null()
# A rule on a contact finds them under "stifles.day_of_lock" and so on.
TOLD_ONCE: Mapping[str, Mapping[str, pl.Expr]] = {
    "stifles": {"stands": STANDS, "day_of_lock": LOCK_DAY, "day_of_death": DEATH_DAY},
    "animals": {"stands": STANDS},
}


def is_told_once(name: str, *, of: str) -> bool:
    """Be true of a name like ``stifles.stands`` that a table's rows may have beside them."""
    table, _, told = name.partition(".")
    return table in ONE_ROW_OF.get(of, ()) and told in TOLD_ONCE.get(table, {})
