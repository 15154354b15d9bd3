"""Operations by year: one bar a year, clinics on top of each other."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pipeline.report.figures import PAIRS, PAPER, new_figure, soft_grid

SHADES = LinearSegmentedColormap.from_list("clinics", (PAIRS[0][0], "#d6e2ec"))


@dataclass(frozen=True, slots=True)
class Layer:
    """The counts of one clinic, by year; a count that may not be shown is None."""

    label: str
    counts: tuple[float | None, ...]


def draw_accrual(layers: Sequence[Layer], years: Sequence[str]) -> Figure:
    """Draw the layers as stacked bars, dark to light, in the order of the legend from below."""
    figure = new_figure(7.2, 2.8)
    axes = figure.subplots()
    floor = [0.0] * len(years)
    for place, layer in enumerate(layers):
        heights = [count or 0.0 for count in layer.counts]
        axes.bar(
            range(len(years)), heights, bottom=floor, width=0.78, label=layer.label,
            color=SHADES(place / max(len(layers) - 1, 1)), edgecolor=PAPER, linewidth=0.6,
        )  # fmt: skip
        floor = [below + height for below, height in zip(floor, heights, strict=True)]
    axes.set_xticks(range(len(years)), years)
    axes.tick_params(axis="x", length=0)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=5, integer=True))
    axes.set_ylabel("Stifles operated")
    soft_grid(axes)
    if len(layers) > 1:
        axes.legend(
            loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False, reverse=True, fontsize=8
        )
    return figure
