"""The day that a binary outcome "by day D" speaks of, and the day on which it was settled."""

import re

import polars as pl

from analysis.arrays import FloatArray
from pipeline.analyses.selection import OUTCOME
from pipeline.plan import Analysis

BY_DAY = re.compile(r"(.+)_by_(\d+)")


def day_of_outcome(analysis: Analysis) -> float | None:
    """Give D: the single horizon of the plan, or the number in a name such as relux_by_365."""
    if len(analysis.horizon) == 1:
        return analysis.horizon[0]
    named = BY_DAY.fullmatch(analysis.outcome or "")
    return float(named[2]) if named else None


def time_column(analysis: Analysis, frame: pl.DataFrame) -> str | None:
    """Name the column of follow-up behind the outcome: the plan's, or relux_day of relux_by_365."""
    if analysis.time:
        return analysis.time
    named = BY_DAY.fullmatch(analysis.outcome or "")
    column = f"{named[1]}_day" if named else ""
    return column if column in frame.columns else None


def left_end(time: str | None) -> str | None:
    """Name the column of the last day free of an event, beside the day that found it."""
    return f"{time.removesuffix('_day')}_left" if time and time.endswith("_day") else None


def settled_day(frame: pl.DataFrame, analysis: Analysis, column: str) -> FloatArray:
    """Give the day on which the outcome was settled, or the row was lost with it unknown.

    An event is settled on its day. Its absence by D is settled by a competing event, or by being
    seen free of it at the latest `window_days` before D.
    """
    last = (day_of_outcome(analysis) or 0.0) - analysis.window_days
    day = pl.col(column).cast(pl.Float64)
    settled = pl.when(pl.col(OUTCOME) == 1).then(day).otherwise(pl.min_horizontal(day, last))
    return frame.select(settled.alias("settled")).to_series().to_numpy()
