"""Clinics around what their case mix lets expect; never a ranking."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.report.figures import INK, PAIRS, SOFT, new_figure, soft_grid


@dataclass(frozen=True, slots=True)
class Point:
    """One clinic: what it is called here, events expected, observed over expected."""

    label: str
    expected: float
    ratio: float
    own: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """Ratios between which a clinic falls by chance with a given probability, by expected."""

    level: float
    expected: np.ndarray
    low: np.ndarray
    high: np.ndarray


def draw_funnel(points: Sequence[Point], limits: Sequence[Limits], *, outcome: str) -> Figure:
    """Draw observed over expected against expected, with its limits."""
    figure = new_figure(7.2, 4.2)
    axes = figure.subplots()
    widest = max((point.expected for point in points), default=1.0)
    right = max([widest, *(float(limit.expected.max()) for limit in limits)])
    top = max([2.0, *(point.ratio for point in points)]) * 1.15
    for limit, dash in zip(limits, ((0, (5, 2)), "-"), strict=False):
        for side in (limit.low, limit.high):
            axes.plot(limit.expected, side, color=SOFT, lw=1.0, ls=dash)
        _name_limit(axes, limit)
    axes.axhline(1, color=INK, lw=0.9)
    for point in points:
        axes.plot(
            point.expected, point.ratio, "o", ms=13 if len(point.label) < 3 else 7,
            color=PAIRS[0][0] if point.own else "#e8ecf0", mec=INK, mew=0.9,
        )  # fmt: skip
        _name_point(axes, point)
    axes.set_xlim(0, right)
    axes.set_ylim(0, top)
    axes.set_xlabel("Events expected from case mix and follow-up")
    axes.set_ylabel(f"{outcome}:\nobserved over expected")
    soft_grid(axes)
    return figure


def _name_point(axes: Axes, point: Point) -> None:
    inside = len(point.label) < 3
    axes.annotate(
        point.label, (point.expected, point.ratio),
        xytext=(0, 0) if inside else (9, 0), textcoords="offset points",
        ha="center" if inside else "left", va="center",
        fontsize=8 if inside else 9, fontweight="bold",
        color="white" if point.own and inside else INK, annotation_clip=False,
    )  # fmt: skip


def _name_limit(axes: Axes, limit: Limits) -> None:
    for side in (limit.low, limit.high):
        axes.annotate(
            f"{100 * limit.level:g}%", (limit.expected[-1], side[-1]), xytext=(5, 0),
            textcoords="offset points", fontsize=7.5, color=SOFT, va="center",
            annotation_clip=False,
        )  # fmt: skip
