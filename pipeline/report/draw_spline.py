"""The odds ratio of a number over its range, with its band."""

import polars as pl
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from pipeline.report.figures import PAIRS, SOFT, new_figure, soft_grid

TICKS = (0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20)


def draw_spline(points: pl.DataFrame, *, name: str) -> Figure:
    """Draw estimate, low and high by `at` on a log scale; the axis ends at 0.05 and 20."""
    figure = new_figure(5.6, 3.6)
    axes = figure.subplots()
    at, height, low, high = (
        points[column].to_numpy() for column in ("at", "estimate", "low", "high")
    )
    axes.set_yscale("log")
    axes.axhline(1, color=SOFT, lw=0.9)
    axes.fill_between(at, low, high, color=PAIRS[0][0], alpha=0.16, lw=0)
    axes.plot(at, height, color=PAIRS[0][0], lw=1.8)
    bottom = max(min(0.5, float(low.min())), TICKS[0])
    top = min(max(2.0, float(high.max())), TICKS[-1])
    axes.set_ylim(bottom, top)
    ticks = [tick for tick in TICKS if bottom <= tick <= top]
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.set_xlim(float(at[0]), float(at[-1]))
    axes.set_xlabel(name)
    axes.set_ylabel("odds ratio against the median")
    soft_grid(axes)
    return figure
