"""One picture of two ways to date an event: the day it was found, and any day between visits."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pipeline.report.draw_curves import value_at
from pipeline.report.figures import Look, new_figure, soft_grid, spread
from pipeline.report.text import day_text


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BothCurves:
    """The two curves of one arm (columns day and estimate), its words and look."""

    label: str
    found: pl.DataFrame
    between: pl.DataFrame
    look: Look


def draw_between(arms: Sequence[BothCurves], days: Sequence[float], *, outcome: str) -> Figure:
    """Draw each arm twice: full line by the day it was found, dots by the interval."""
    figure = new_figure(7.2, 4.0)
    axes = figure.subplots()
    horizon = max(days)
    for arm in arms:
        _steps(axes, arm.found, horizon, colour=arm.look.colour, dash="-", width=1.8)
        _steps(axes, arm.between, horizon, colour=arm.look.colour, dash=":", width=2.2)
    ends = [
        (100 * value_at(points, horizon), f"{arm.label}, {how}", arm.look.colour)
        for arm in arms
        for points, how in ((arm.found, "found"), (arm.between, "between visits"))
    ]
    top = max(5.0, max(height for height, _, _ in ends) * 1.15)
    for (_, label, colour), place in zip(
        ends, spread([height for height, _, _ in ends], top * 0.07), strict=True
    ):
        axes.annotate(
            label, (horizon, place), xytext=(6, 0), textcoords="offset points", va="center",
            color=colour, fontsize=8.5, annotation_clip=False,
        )  # fmt: skip
    axes.set_ylim(0, top)
    axes.set_xlim(0, horizon)
    axes.set_ylabel(f"{outcome},\nper 100 stifles")
    axes.yaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    axes.set_xticks([0.0, *days], ["surgery", *(day_text(day) for day in days)])
    soft_grid(axes)
    return figure


def _steps(
    axes: Axes, points: pl.DataFrame, horizon: float, *, colour: str, dash: str, width: float
) -> None:
    within = points.filter(pl.col("day") <= horizon)
    day = np.concatenate([[0.0], within["day"].to_numpy().astype(float), [horizon]])
    height = np.concatenate([[0.0], within["estimate"].to_numpy(), [value_at(points, horizon)]])
    axes.step(day, 100 * height, where="post", color=colour, ls=dash, lw=width)
