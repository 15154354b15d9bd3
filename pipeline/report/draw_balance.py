"""How different the arms were before surgery: standardised differences, largest on top."""

from collections.abc import Sequence

from matplotlib.figure import Figure

from pipeline.report.figures import INK, PAIRS, SOFT, new_figure, soft_grid


def draw_balance(names: Sequence[str], differences: Sequence[float]) -> Figure:
    """Draw absolute standardised differences; 0.1 is the usual mark of imbalance."""
    order = sorted(range(len(names)), key=lambda place: (-abs(differences[place]), names[place]))
    figure = new_figure(7.2, 0.24 * len(names) + 0.9)
    axes = figure.subplots()
    axes.axvline(0.1, color=SOFT, lw=0.9, ls=(0, (4, 2)))
    soft_grid(axes, "x")
    for place, chosen in enumerate(order):
        size = abs(differences[chosen])
        axes.plot([0, size], [place, place], color=PAIRS[0][0], lw=1.1)
        axes.plot(size, place, "o", color=PAIRS[0][0], ms=5)
    axes.set_yticks(range(len(order)), [names[chosen] for chosen in order])
    for label in axes.get_yticklabels():
        label.set_color(INK)
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(order) - 0.4, -0.6)
    axes.set_xlim(0, max(0.3, *(1.1 * abs(value) for value in differences)))
    axes.set_xlabel("Standardised difference between the arms (dashed: 0.1)")
    return figure
