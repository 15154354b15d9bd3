"""Which complications met in one stifle: a column a combination, a row a type."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pipeline.report.figures import INK, PAIRS, RULE, SOFT, new_figure, soft_grid
from pipeline.report.text import whole


@dataclass(frozen=True, slots=True)
class Combination:
    """The types that met, by their words, and in how many stifles; no types: all the others."""

    types: tuple[str, ...]
    count: float


def draw_combined(found: Sequence[Combination], sizes: Sequence[tuple[str, float]]) -> Figure:
    """Draw counts of combinations above, the types they are made of below.

    `sizes` holds each type with its number of stifles, commonest first.
    """
    figure = new_figure(7.2, 2.3 + 0.24 * len(sizes))
    above, below = figure.subplots(2, 1, height_ratios=(2.0, 0.24 * len(sizes)), sharex=True)
    places = range(len(found))
    above.bar(places, [item.count for item in found], width=0.62, color=PAIRS[0][0])
    for place, item in zip(places, found, strict=True):
        above.annotate(
            whole(item.count), (place, item.count), xytext=(0, 2), textcoords="offset points",
            ha="center", fontsize=8, color=INK,
        )  # fmt: skip
    above.set_ylim(0, 1.14 * max(item.count for item in found))
    above.set_ylabel("Stifles")
    above.yaxis.set_major_locator(MaxNLocator(nbins=4, integer=True))
    above.tick_params(axis="x", length=0, labelbottom=False)
    soft_grid(above)
    _matrix(below, found, sizes)
    return figure


def _matrix(axes: Axes, found: Sequence[Combination], sizes: Sequence[tuple[str, float]]) -> None:
    rows = {name: place for place, (name, _) in enumerate(sizes)}
    for place, item in enumerate(found):
        axes.scatter([place] * len(rows), list(rows.values()), s=16, color=RULE, zorder=1)
        own = [rows[name] for name in item.types]
        if own:
            axes.plot([place] * 2, [min(own), max(own)], color=PAIRS[0][0], lw=1.6, zorder=2)
            axes.scatter([place] * len(own), own, s=26, color=PAIRS[0][0], zorder=3)
        else:
            axes.text(place, (len(rows) - 1) / 2, "others", rotation=90, ha="center",
                      va="center", fontsize=8, color=SOFT, backgroundcolor="#ffffff")  # fmt: skip
    axes.set_yticks(list(rows.values()), [f"{name} ({whole(count)})" for name, count in sizes])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(-0.6, len(found) - 0.4)
    axes.set_xticks([])
    axes.tick_params(axis="y", length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
