"""One line a stifle: how long it was followed, when it was seen, and what happened to it."""

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.report.figures import INK, PAIRS, PAPER, RULE, SOFT, new_figure

# Kind -> words, marker, face, edge, size; drawn in this order, the last on top.
MARKS: Mapping[str, tuple[str, str, str, str, float]] = {
    "other contact": ("call or visit without palpation", "|", SOFT, SOFT, 5.0),
    "palpated": ("palpated by a veterinarian", "o", PAPER, PAIRS[0][0], 4.2),
    "complication": ("complication", "s", PAIRS[0][1], PAIRS[0][1], 6.6),
    "palpation": ("luxated on palpation", "D", PAIRS[1][0], PAIRS[1][0], 4.0),
    "revision": ("further operation", "^", PAIRS[2][0], PAIRS[2][0], 5.6),
    "end": ("death or amputation", "X", INK, PAPER, 6.4),
}
TICKS = {0: "0", 14: "2 weeks", 42: "6 weeks", 91: "3 months", 183: "6 months", 365: "1 year",
         730: "2 years", 1461: "4 years", 2922: "8 years"}  # fmt: skip


def draw_courses(courses: pl.DataFrame) -> Figure:
    """Draw every stifle of the frame (place, kind, day); days on a square-root scale."""
    n = int(courses["place"].max())  # pyright: ignore[reportArgumentType]
    figure = new_figure(7.2, 1.1 + 0.155 * n)
    axes = figure.subplots()
    longest = float(courses["day"].max())  # pyright: ignore[reportArgumentType]
    axes.set_xscale("function", functions=(_root, np.square))
    for row in courses.filter(kind="followed").iter_rows(named=True):
        axes.plot([0, row["day"]], [row["place"]] * 2, color=RULE, lw=3.2, solid_capstyle="butt")
    for kind, look in MARKS.items():
        _marks(axes, courses.filter(kind=kind), look)
    ticks = [day for day in TICKS if day <= longest]
    axes.set_xticks(ticks, [TICKS[day] for day in ticks])
    axes.set_xlim(0, longest * 1.02)
    axes.set_ylim(n + 0.7, 0.3)
    axes.set_yticks(_numbered(n))
    axes.set_ylabel("Stifle")
    axes.set_xlabel("After surgery")
    axes.grid(visible=True, axis="x", color=RULE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.legend(
        loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3, frameon=False, fontsize=8,
        handletextpad=0.4, columnspacing=1.4,
    )  # fmt: skip
    return figure


def _marks(axes: Axes, rows: pl.DataFrame, look: tuple[str, str, str, str, float]) -> None:
    words, marker, face, edge, size = look
    axes.plot(
        rows["day"].to_list(), rows["place"].to_list(), ls="none", marker=marker, label=words,
        markerfacecolor=face, markeredgecolor=edge, markersize=size,
        markeredgewidth=0.9 if marker != "X" else 0.5,
    )  # fmt: skip


def _root(days: np.ndarray) -> np.ndarray:
    return np.sqrt(np.maximum(days, 0))


def _numbered(n: int) -> Sequence[int]:
    return [1, *range(5, n + 1, 5)]
