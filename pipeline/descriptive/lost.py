"""Who was lost from sight before the last horizon, against those whose outcome is known by then."""

from collections.abc import Iterator

import polars as pl

from pipeline.descriptive.arms import Exposure
from pipeline.descriptive.table1 import by_arm
from pipeline.descriptive.variables import Described, described
from schemas.codebook import Variable
from shared.estimate import Estimate

KNOWN, LOST = "followed", "lost"
COMPARED = ("baseline", "exposure")
DESIGN = ("surgery_year", "session_type")


def lost_from_sight(cohort: pl.DataFrame, day: int) -> pl.DataFrame:
    """Give the stifles that could have been followed to `day`, each in the arm followed or lost.

    Lost: nobody can know whether the joint reluxated by then, as it was not palpated late
    enough, or ever. Stifles held for an answer and those operated too late to be due are left
    out. Two animals' joints are two stifles.
    """
    due = (pl.col("admin_end_day") >= day).fill_null(value=True)
    unknown = pl.col(f"relux_by_{day}").is_null()
    return cohort.filter(due & ~pl.col("relux_held").fill_null(value=False)).with_columns(
        pl.when(unknown).then(pl.lit(LOST)).otherwise(pl.lit(KNOWN)).alias("arm")
    )


def lost_comparison(
    cohort: pl.DataFrame, day: int, codebook: tuple[Variable, ...]
) -> Iterator[Estimate]:
    """Compare the lost with the followed as Table 1 does its arms (analysis "table1_lost").

    Baseline, design and exposure variables and the clinic; the standardised difference is that
    of the lost from the followed.
    """
    if f"relux_by_{day}" not in cohort.columns:
        return
    frame = lost_from_sight(cohort, day)
    exposure = Exposure(column="lost", levels=(KNOWN, LOST), population=f"due by day {day}",
                        frame=frame)  # fmt: skip
    if all(len(arm) for _, arm in exposure.arms()):
        yield from by_arm(exposure, _compared(frame, codebook))


def _compared(frame: pl.DataFrame, codebook: tuple[Variable, ...]) -> tuple[Described, ...]:
    wanted = {item.name for item in codebook if item.role in COMPARED} | {*DESIGN}
    chosen = tuple(item for item in described(frame, codebook) if item.column in wanted)
    return (*chosen, Described(column="clinic_id", per="stifle", levels={}))
