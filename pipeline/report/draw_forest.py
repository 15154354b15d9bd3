"""All ratios on one scale: crude hollow, adjusted filled."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.report.figures import INK, PAPER, SOFT, new_figure, soft_grid
from pipeline.report.text import estimate_and_interval
from shared.estimate import Estimate

LEFT, RIGHT = 0.05, 20.0
TICKS = (0.05, 0.1, 0.25, 0.5, 1, 2, 4, 10, 20)


@dataclass(frozen=True, slots=True)
class ForestLine:
    """One line of a forest plot; a heading has no row."""

    label: str
    row: Estimate | None = None
    colour: str = INK


def draw_forest(lines: Sequence[ForestLine], *, favours: tuple[str, str]) -> Figure:
    """Draw ratios with their intervals, first on top; limits beyond the axis end in an arrow."""
    figure = new_figure(7.6, 0.27 * len(lines) + 1.1)
    axes = figure.subplots()
    axes.set_xscale("log")
    axes.set_xlim(LEFT, RIGHT)
    axes.set_ylim(len(lines) - 0.4, -0.6)
    axes.axvline(1, color=SOFT, lw=0.9)
    soft_grid(axes, "x")
    for place, line in enumerate(lines):
        _draw_line(axes, line, place)
    named = [place for place, line in enumerate(lines) if line.row]
    axes.set_yticks(named, [lines[place].label for place in named])
    axes.tick_params(axis="y", labelcolor=INK)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_xticks(TICKS, [f"{tick:g}" for tick in TICKS])
    axes.minorticks_off()
    axes.set_xlabel(f"\u2190 {favours[0]}        ratio, log scale        {favours[1]} \u2192")
    return figure


def _draw_line(axes: Axes, line: ForestLine, place: int) -> None:
    row = line.row
    if row is None:
        axes.text(
            0.0, place, line.label, transform=axes.get_yaxis_transform(), va="center", ha="left",
            fontweight="bold", fontsize=8.5,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.5},
        )  # fmt: skip
        return
    axes.text(
        1.02, place, estimate_and_interval(row), transform=axes.get_yaxis_transform(),
        va="center", ha="left", fontsize=8,
    )  # fmt: skip
    if row.estimate is None:
        return
    if row.low is not None and row.high is not None:
        low, high = max(row.low, LEFT), min(row.high, RIGHT)
        axes.plot([low, high], [place, place], color=line.colour, lw=1.4, solid_capstyle="butt")
        for limit, mark, outside in ((low, "<", row.low < LEFT), (high, ">", row.high > RIGHT)):
            if outside:
                axes.plot(limit, place, mark, color=line.colour, ms=5, clip_on=False)
    filled = row.adjustment != "crude"
    axes.plot(
        min(max(row.estimate, LEFT), RIGHT), place, "s", ms=6, color=line.colour,
        mfc=line.colour if filled else "white", mew=1.3,
    )  # fmt: skip
