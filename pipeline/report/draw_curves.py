"""Cumulative incidence by arm, with intervals and the numbers at risk under it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pipeline.report.figures import SOFT, Look, new_figure, soft_grid, spread
from pipeline.report.text import day_text, whole


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arm:
    """One curve: its frame (day, estimate, low, high, n_at_risk, by day), its words and look."""

    group: str
    label: str
    points: pl.DataFrame
    look: Look


def at_risk(points: pl.DataFrame, day: float) -> int:
    """Count those still followed and free of the event just before a day."""
    later = points.filter(pl.col("day") >= day)
    return int(later["n_at_risk"][0]) if len(later) else 0


def value_at(points: pl.DataFrame, day: float, column: str = "estimate") -> float:
    """Height of a step curve on a day."""
    reached = points.filter((pl.col("day") <= day) & pl.col(column).is_not_null())
    return float(reached[column][-1]) if len(reached) else 0.0


def draw_curves(
    arms: Sequence[Arm], days: Sequence[float], *, outcome: str, most: float = 100.0
) -> Figure:
    """Draw one curve per arm up to the last of `days`, each named where it ends.

    The axis goes no higher than `most` per 100.
    """
    figure = new_figure(7.2, 4.0 + 0.22 * len(arms))
    axes, below = figure.subplots(2, 1, height_ratios=(4.0, 0.32 * len(arms) + 0.35), sharex=True)
    horizon = max(days)
    top = max((value_at(arm.points, horizon, "high") for arm in arms), default=0.0) or max(
        value_at(arm.points, horizon) for arm in arms
    )
    top = min(most, max(100 * top * 1.08, 5.0))
    for arm in arms:
        _draw_arm(axes, arm, horizon)
    _name_ends(axes, arms, horizon, top)
    axes.set_ylim(0, top)
    axes.set_xlim(0, horizon)
    axes.set_ylabel(f"{outcome},\nper 100 stifles")
    axes.yaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
    soft_grid(axes)
    _numbers_at_risk(below, arms, [0.0, *days])
    below.set_xticks([0.0, *days], ["surgery", *(day_text(day) for day in days)])
    return figure


def _draw_arm(axes: Axes, arm: Arm, horizon: float) -> None:
    within = arm.points.filter(pl.col("day") <= horizon)
    day = np.concatenate([[0.0], within["day"].to_numpy().astype(float), [horizon]])
    heights: Mapping[str, np.ndarray] = {
        name: _steps(within[name], value_at(arm.points, horizon, name))
        for name in ("estimate", "low", "high")
    }
    axes.fill_between(
        day, heights["low"], heights["high"], step="post", color=arm.look.colour, alpha=0.16, lw=0
    )
    axes.step(
        day, heights["estimate"], where="post", color=arm.look.colour, ls=arm.look.dash, lw=1.8
    )


def _steps(values: pl.Series, last: float) -> np.ndarray:
    filled = values.fill_null(strategy="forward").fill_null(0.0).to_numpy()
    return 100 * np.concatenate([[0.0], filled, [last]])


def _name_ends(axes: Axes, arms: Sequence[Arm], horizon: float, top: float) -> None:
    ends = [100 * value_at(arm.points, horizon) for arm in arms]
    for arm, place in zip(arms, spread(ends, top * 0.07), strict=True):
        axes.annotate(
            arm.label, (horizon, place), xytext=(6, 0), textcoords="offset points",
            va="center", color=arm.look.colour, fontweight="bold", annotation_clip=False,
        )  # fmt: skip


def _numbers_at_risk(axes: Axes, arms: Sequence[Arm], days: Sequence[float]) -> None:
    axes.set_ylim(len(arms) - 0.4, -0.9)
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.tick_params(length=0)
    axes.tick_params(axis="y", pad=18)
    axes.set_yticks(range(len(arms)), [arm.label for arm in arms])
    for label, arm in zip(axes.get_yticklabels(), arms, strict=True):
        label.set_color(arm.look.colour)
    axes.annotate(
        "Number at risk", (0, -0.75), xytext=(-18, 0), textcoords="offset points",
        color=SOFT, fontsize=8, va="center", ha="right", annotation_clip=False,
    )  # fmt: skip
    for row, arm in enumerate(arms):
        for day in days:
            axes.text(
                day, row, whole(at_risk(arm.points, day)), ha="center", va="center", fontsize=8.5
            )
