"""Risks seen against risks predicted, with the line on which they would agree."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from matplotlib.figure import Figure

from pipeline.report.figures import PAIRS, SOFT, new_figure, soft_grid


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CalibrationLine:
    """One curve: its words, its points (at, estimate, low, high), and whether it has a band."""

    label: str
    points: pl.DataFrame
    band: bool


def draw_calibration(lines: Sequence[CalibrationLine], *, outcome: str) -> Figure:
    """Draw observed by predicted risk, of 100; the first line solid, the others dashed."""
    figure = new_figure(5.2, 4.4)
    axes = figure.subplots()
    top = min(1.0, max(float(np.nanmax(line.points.select("at", "estimate").to_numpy()))
                       for line in lines) * 1.25)  # fmt: skip
    axes.plot([0, 100 * top], [0, 100 * top], color=SOFT, lw=0.9)
    for place, line in enumerate(lines):
        colour = PAIRS[0][place % 2]
        at, height, low, high = (
            100 * line.points[name].to_numpy() for name in ("at", "estimate", "low", "high")
        )
        if line.band:
            axes.fill_between(at, low, high, color=colour, alpha=0.16, lw=0)
        axes.plot(at, height, color=colour, lw=1.8, ls="-" if place == 0 else (0, (5, 1.6)),
                  label=line.label)  # fmt: skip
    axes.set_xlim(0, 100 * top)
    axes.set_ylim(0, 100 * top)
    axes.set_xlabel(f"{outcome}, predicted of 100")
    axes.set_ylabel("found of 100")
    axes.legend(loc="upper left", frameon=False, fontsize=8)
    soft_grid(axes)
    return figure
