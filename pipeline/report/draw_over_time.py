"""How the log of a hazard ratio runs over time: residuals of events, their smooth and its band."""

import numpy as np
import polars as pl
from matplotlib.figure import Figure

from pipeline.report.figures import PAIRS, SOFT, new_figure, soft_grid

TICKS = 6  # days that are named on the axis, evenly over its scale


def draw_over_time(smooth: pl.DataFrame, points: pl.DataFrame, *, constant: float) -> Figure:
    """Draw estimate, low and high by `at`, days under it; dashed: the one ratio of the model."""
    figure = new_figure(5.6, 3.6)
    axes = figure.subplots()
    at, day, height, low, high = (
        smooth[column].to_numpy() for column in ("at", "day", "estimate", "low", "high")
    )
    axes.axhline(0, color=SOFT, lw=0.9)
    axes.axhline(constant, color=PAIRS[0][1], lw=1.2, ls="--")
    axes.plot(points["at"].to_numpy(), points["estimate"].to_numpy(), ".", color=SOFT, ms=3)
    axes.fill_between(at, low, high, color=PAIRS[0][0], alpha=0.16, lw=0)
    axes.plot(at, height, color=PAIRS[0][0], lw=1.8)
    seen = points["estimate"].to_numpy()
    bottom, top = (
        min(float(low.min()), float(np.quantile(seen, 0.02))),
        max(float(high.max()), float(np.quantile(seen, 0.98))),
    )
    axes.set_ylim(bottom - 0.05 * (top - bottom), top + 0.05 * (top - bottom))
    places = np.linspace(0, len(at) - 1, TICKS).round().astype(int)
    axes.set_xticks(at[places], [f"{value:.0f}" for value in day[places]])
    axes.set_xlim(float(at[0]), float(at[-1]))
    axes.set_xlabel("day of the event")
    axes.set_ylabel("log hazard ratio")
    soft_grid(axes)
    return figure
