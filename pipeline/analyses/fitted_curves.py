"""Curves that show whether a distribution fits: the modelled risk over the risk as seen."""

from collections.abc import Callable, Sequence

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.survival import kaplan_meier
from analysis.turnbull import turnbull
from pipeline.analyses.curves import no_curves, points_by_day
from pipeline.plan import Analysis

STEPS = 60  # places along the days at which a modelled curve is drawn


def modelled_points(
    analysis: Analysis, name: str, risks: Callable[[Sequence[float]], FloatArray], *, last: float
) -> pl.DataFrame:
    """Give the risk by a distribution, named `name`, on evenly spread days up to the last one."""
    days = np.linspace(0, last, STEPS + 1)[1:]
    return points_by_day(
        analysis, "parametric", np.append(0.0, days), np.append(0.0, risks(days.tolist())),
        group=name,
    )  # fmt: skip


def seen_points(
    analysis: Analysis, left: FloatArray, right: FloatArray, *, entry: FloatArray | None
) -> pl.DataFrame:
    """Give the risk of all rows without a model: by Kaplan-Meier, between visits by Turnbull.

    None where rows have weights.
    """
    if analysis.weights:
        return no_curves()
    if analysis.left:
        found = turnbull(left, right)
        held = np.isfinite(found.right)
        day, risk = found.right[held], np.cumsum(found.mass)[held]
    else:
        curve = kaplan_meier(left, np.isfinite(right).astype(np.float64), entry=entry)
        day, risk = curve.day, 1 - curve.estimate
    return points_by_day(
        analysis, "without_model", np.append(0.0, day), np.append(0.0, risk), group=None
    )


def last_day(left: FloatArray, right: FloatArray) -> float:
    """Give the last day anything is known of."""
    return float(max(left.max(), right[np.isfinite(right)].max(initial=0.0)))
