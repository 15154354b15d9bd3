"""All ratios on one scale: crude hollow, adjusted filled."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.report.figures import INK, SOFT, new_figure, soft_grid
from pipeline.report.text import estimate_and_interval
from shared.estimate import Estimate

TICKS = (0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20)


@dataclass(frozen=True, slots=True)
class ForestLine:
    """One line of a forest plot; a heading has no row."""

    label: str
    row: Estimate | None = None
    colour: str = INK


def draw_forest(lines: Sequence[ForestLine], *, favours: tuple[str, str]) -> Figure:
    """Draw ratios with their intervals, first on top; limits beyond the axis end in an arrow."""
    figure = new_figure(8.0, 0.24 * len(lines) + 1.0)
    axes = figure.subplots()
    low, high = _ends([line.row for line in lines if line.row])
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    axes.set_ylim(len(lines) - 0.4, -0.6)
    axes.axvline(1, color=SOFT, lw=0.9)
    soft_grid(axes, "x")
    for place, line in enumerate(lines):
        if line.row is not None:
            _draw_row(axes, line.row, place, colour=line.colour)
    axes.set_yticks(range(len(lines)), [line.label for line in lines])
    for label, line in zip(axes.get_yticklabels(), lines, strict=True):
        label.set(color=INK, fontsize=8, fontweight="normal" if line.row else "bold")
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    ticks = [tick for tick in TICKS if low <= tick <= high]
    axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.minorticks_off()
    axes.set_xlabel(f"\u2190 {favours[0]}      ratio      {favours[1]} \u2192")
    return figure


def _ends(rows: Sequence[Estimate]) -> tuple[float, float]:
    """Choose the ends of the axis: ticks that hold all intervals, at most 0.05 and 20."""
    low = min([0.5, *(row.low for row in rows if row.low)])
    high = max([2.0, *(row.high for row in rows if row.high)])
    return (
        max((tick for tick in TICKS if tick <= low), default=TICKS[0]),
        min((tick for tick in TICKS if tick >= high), default=TICKS[-1]),
    )


def _draw_row(axes: Axes, row: Estimate, place: int, *, colour: str) -> None:
    left, right = axes.get_xlim()
    axes.text(
        1.02, place, estimate_and_interval(row), transform=axes.get_yaxis_transform(),
        va="center", ha="left", fontsize=8,
    )  # fmt: skip
    if row.estimate is None:
        return
    if row.low is not None and row.high is not None:
        low, high = max(row.low, left), min(row.high, right)
        axes.plot([low, high], [place, place], color=colour, lw=1.4, solid_capstyle="butt")
        for limit, mark, outside in ((low, "<", row.low < left), (high, ">", row.high > right)):
            if outside:
                axes.plot(limit, place, mark, color=colour, ms=5, clip_on=False)
    filled = row.adjustment != "crude"
    axes.plot(
        min(max(row.estimate, left), right), place, "s", ms=5, color=colour,
        mfc=colour if filled else "white", mew=1.3,
    )  # fmt: skip
