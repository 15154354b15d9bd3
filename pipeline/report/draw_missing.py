"""What is not recorded, as a grid: a row a variable, a column a clinic, dark where much is gone."""

from collections.abc import Sequence

from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from pipeline.report.figures import INK, PAIRS, PAPER, SOFT, new_figure
from pipeline.report.text import fixed

SHADES = LinearSegmentedColormap.from_list("missing", ("#f4f6f8", "#9db4c9", PAIRS[0][0]))
PALE_UNTIL = 0.55


def draw_missing(
    shares: Sequence[Sequence[float | None]], variables: Sequence[str], clinics: Sequence[str]
) -> Figure:
    """Draw shares (0 to 1) per variable and clinic with their number per 100; none is blank."""
    figure = new_figure(7.2, 0.7 + 0.205 * len(variables))
    axes = figure.subplots()
    values = [[float("nan") if share is None else share for share in line] for line in shares]
    axes.pcolormesh(values, cmap=SHADES, vmin=0, vmax=1, edgecolors=PAPER, linewidth=1.2)
    for row, line in enumerate(shares):
        for column, share in enumerate(line):
            if share:
                colour = INK if share < PALE_UNTIL else PAPER
                text = "<1" if share < 0.005 else fixed(100 * share, 0)
                axes.text(column + 0.5, row + 0.5, text, ha="center", va="center", fontsize=7.5,
                          color=colour)  # fmt: skip
    axes.set_yticks([row + 0.5 for row in range(len(variables))], list(variables))
    axes.set_xticks([column + 0.5 for column in range(len(clinics))], list(clinics))
    axes.xaxis.tick_top()
    axes.tick_params(length=0, labelcolor=INK)
    axes.tick_params(axis="y", labelsize=8, labelcolor=SOFT)
    axes.invert_yaxis()
    for spine in axes.spines.values():
        spine.set_visible(False)
    return figure
