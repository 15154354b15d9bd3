"""The odds ratio of a number over its range, by the spline a logistic model has of it."""

from collections.abc import Callable

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.design import Design, design_rows
from analysis.linear_effects import LinearEffects
from pipeline.analyses.curves import points_at
from pipeline.plan import Analysis

POINTS = 41


def spline_curve(
    analysis: Analysis,
    design: Design,
    rows: pl.DataFrame,
    *,
    name: str,
    effects: Callable[[FloatArray, FloatArray], LinearEffects],
) -> pl.DataFrame:
    """Give odds ratios against the median, from the 1st to the 99th centile, with their band.

    `effects` are those of rows of the design against others.
    """
    numbers = rows[name].cast(pl.Float64).to_numpy()
    first, middle, last = (float(value) for value in np.quantile(numbers, (0.01, 0.5, 0.99)))
    at = np.linspace(first, last, POINTS)

    def rows_at(values: FloatArray) -> FloatArray:
        alike = pl.concat([rows.head(1)] * len(values))
        return design_rows(design, alike.with_columns(pl.Series(name, values)))

    found = effects(rows_at(at), rows_at(np.full(POINTS, middle)))
    heights = np.exp(found.estimate), np.exp(found.low), np.exp(found.high)
    return points_at(analysis, "spline", at, heights, state=name)
