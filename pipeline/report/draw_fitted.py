"""One picture of distributions over the risk without a model: where they part, they do not fit."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from matplotlib.figure import Figure

from pipeline.report.draw_curves import value_at
from pipeline.report.figures import DASHES, INK, PAIRS, new_figure, soft_grid, spread
from pipeline.report.text import day_text


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Modelled:
    """The curve of one distribution (columns day and estimate) and its name."""

    label: str
    points: pl.DataFrame


def draw_fitted(
    seen: pl.DataFrame, models: Sequence[Modelled], days: Sequence[float], *, outcome: str
) -> Figure:
    """Draw the risk without a model as steps, each distribution as a smooth line."""
    figure = new_figure(7.2, 4.0)
    axes = figure.subplots()
    horizon = max(days)
    within = seen.filter(pl.col("day") <= horizon).sort("day")
    axes.step(
        np.append(within["day"].to_numpy(), horizon),
        100 * np.append(within["estimate"].to_numpy(), value_at(within, horizon)),
        where="post", color=INK, lw=1.6,
    )  # fmt: skip
    ends = [(100 * value_at(within, horizon), "without a model", INK)]
    for place, model in enumerate(models):
        colour, dash = PAIRS[place % len(PAIRS)][0], DASHES[(place + 1) % len(DASHES)]
        day, height = (model.points.sort("day")[name].to_numpy() for name in ("day", "estimate"))
        axes.plot(day, 100 * height, color=colour, ls=dash, lw=1.4)
        ends.append((100 * float(np.interp(horizon, day, height)), model.label, colour))
    top = max(5.0, max(height for height, _, _ in ends) * 1.15)
    places = spread([height for height, _, _ in ends], top * 0.07)
    for (_, label, colour), place in zip(ends, places, strict=True):
        axes.annotate(
            label, (horizon, place), xytext=(6, 0), textcoords="offset points", va="center",
            color=colour, fontsize=8.5, annotation_clip=False,
        )  # fmt: skip
    axes.set_ylim(0, top)
    axes.set_xlim(0, horizon)
    axes.set_ylabel(f"{outcome},\nper 100 stifles")
    axes.set_xticks([0.0, *days], ["surgery", *(day_text(day) for day in days)])
    soft_grid(axes)
    return figure
