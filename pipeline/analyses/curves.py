"""Points of curves, with the numbers at risk that belong under them."""

from collections.abc import Mapping

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.incidence import Incidence
from analysis.mean_count import MeanCount
from analysis.survival import KaplanMeier
from pipeline.plan import Analysis

CURVE_SCHEMA: Mapping[str, pl.DataType] = {
    "analysis": pl.String(), "curve": pl.String(), "outcome": pl.String(), "group": pl.String(),
    "state": pl.String(), "at": pl.Float64(), "day": pl.Float64(),
    "estimate": pl.Float64(), "low": pl.Float64(), "high": pl.Float64(),
    "n_at_risk": pl.Float64(), "n_events": pl.Float64(), "n_censored": pl.Float64(),
}  # fmt: skip

# What names a point: no two points of a study share all of these.
CURVE_KEY = ("analysis", "curve", "outcome", "group", "state", "at", "day")


def no_curves() -> pl.DataFrame:
    """Give a curves frame without a point."""
    return pl.DataFrame(schema=CURVE_SCHEMA)


def incidence_points(
    analysis: Analysis, arm: str | None, state: str, curve: Incidence
) -> pl.DataFrame:
    """Give the points of a cumulative incidence, from 0 on day 0; rows followed late start later.

    `n_events` counts this state; `n_censored` only those censored, not competing events.
    """
    points = _points(
        curve.day, start=0.0, estimate=curve.estimate, low=curve.low, high=curve.high,
        at_risk=curve.n_at_risk, events=curve.n_events, censored=curve.n_censored,
        late=bool(analysis.entry),
    )  # fmt: skip
    return _labelled(points, analysis, "aalen_johansen", arm, state)


def survival_points(analysis: Analysis, arm: str | None, curve: KaplanMeier) -> pl.DataFrame:
    """Give the points of a Kaplan-Meier curve, from 1 on day 0."""
    points = _points(
        curve.day, start=1.0, estimate=curve.estimate, low=curve.low, high=curve.high,
        at_risk=curve.n_at_risk, events=curve.n_events, censored=curve.n_censored,
        late=bool(analysis.entry),
    )  # fmt: skip
    return _labelled(points, analysis, "kaplan_meier", arm, analysis.outcome_name)


def count_points(analysis: Analysis, arm: str | None, curve: MeanCount) -> pl.DataFrame:
    """Give the points of a mean count, from 0 on day 0."""
    points = _points(
        curve.day, start=0.0, estimate=curve.estimate, low=curve.low, high=curve.high,
        at_risk=curve.n_at_risk, events=curve.n_events, censored=curve.n_censored, late=False,
    )  # fmt: skip
    return _labelled(points, analysis, "mean_count", arm, analysis.outcome_name)


def points_at(
    analysis: Analysis,
    curve: str,
    at: FloatArray,
    heights: tuple[FloatArray, ...],
    *,
    state: str | None,
) -> pl.DataFrame:
    """Give the points of a curve over other values than days: estimate, low and high at each."""
    named = dict(zip(("estimate", "low", "high"), heights, strict=True))
    blank = pl.lit(None, pl.Float64)
    return pl.DataFrame({"at": at, **named}).with_columns(
        pl.lit(analysis.id).alias("analysis"), pl.lit(curve).alias("curve"),
        pl.lit(analysis.outcome_name).alias("outcome"), pl.lit(state, pl.String).alias("state"),
        group=pl.lit(None, pl.String), day=blank, n_at_risk=blank, n_events=blank,
        n_censored=blank,
    ).select(CURVE_SCHEMA.keys())  # fmt: skip


def points_by_day(
    analysis: Analysis, curve: str, day: FloatArray, estimate: FloatArray, *, group: str | None
) -> pl.DataFrame:
    """Give the points of a curve that has heights by day and nothing else."""
    blank = pl.lit(None, pl.Float64)
    return pl.DataFrame({"day": day, "estimate": estimate}).with_columns(
        pl.lit(analysis.id).alias("analysis"), pl.lit(curve).alias("curve"),
        pl.lit(analysis.outcome_name).alias("outcome"), group=pl.lit(group, pl.String),
        state=pl.lit(analysis.outcome_name), low=blank, high=blank, n_at_risk=blank,
        n_events=blank, n_censored=blank, at=blank,
    ).select(CURVE_SCHEMA.keys())  # fmt: skip


def _points(  # noqa: PLR0913 - the columns of a curve, each by name
    day: FloatArray,
    *,
    start: float,
    estimate: FloatArray,
    low: FloatArray,
    high: FloatArray,
    at_risk: FloatArray,
    events: FloatArray,
    censored: FloatArray,
    late: bool,
) -> pl.DataFrame:
    points = pl.DataFrame(
        {
            "day": day, "estimate": estimate, "low": low, "high": high,
            "n_at_risk": at_risk, "n_events": events, "n_censored": censored,
        }
    ).with_columns(pl.col("low", "high").fill_nan(None))  # fmt: skip
    if late or (len(day) and day[0] == 0):
        return points
    first = {
        name: [value]
        for name, value in zip(
            points.columns, (0.0, start, None, None, float(np.max(at_risk)), 0.0, 0.0), strict=True
        )
    }
    return pl.concat([pl.DataFrame(first, schema=points.schema), points])


def _labelled(
    points: pl.DataFrame, analysis: Analysis, curve: str, arm: str | None, state: str
) -> pl.DataFrame:
    return points.with_columns(
        pl.lit(analysis.id).alias("analysis"), pl.lit(curve).alias("curve"),
        pl.lit(analysis.outcome_name).alias("outcome"),
        pl.lit(arm, dtype=pl.String).alias("group"), pl.lit(state).alias("state"),
        pl.lit(None, pl.Float64).alias("at"),
    ).select(CURVE_SCHEMA.keys())  # fmt: skip
