"""What all figures share: one look, one colour per treatment, the same bytes every time."""

import io
from collections.abc import Generator, Iterable, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import quote

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from shared.files import replacing, write_bytes

INK, SOFT, RULE, PAPER = "#1d2733", "#5b6876", "#c9d1d9", "#ffffff"
STYLE: dict[Any, Any] = {
    "svg.hashsalt": "sulca",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "text.color": INK,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "path.simplify": False,
}
# Dark and solid beside light and dashed: the pair stays apart on a grey printer.
PAIRS = (
    ("#1f4e79", "#c8690f"), ("#4b1f5c", "#b0609a"), ("#1d4d33", "#72901a"), ("#333333", "#808080"),
)  # fmt: skip
DASHES = ("-", (0, (5, 1.6)), (0, (1.5, 1.5)), (0, (6, 1.5, 1.5, 1.5)))
MARKERS = ("o", "s", "^", "D")
METADATA: Mapping[str, dict[str, Any]] = {
    "svg": {"Date": None, "Creator": "sulca"},
    "pdf": {"CreationDate": None, "ModDate": None, "Creator": "sulca", "Producer": "sulca"},
    "png": {"Software": "sulca"},
}


@dataclass(frozen=True, slots=True)
class Look:
    """How one arm is drawn in every figure."""

    colour: str
    dash: Any
    marker: str


def looks_of(arms: Iterable[tuple[str, str]]) -> dict[tuple[str, str], Look]:
    """Give each (exposure, level) a look of its own, by the order in which the plan names them."""
    by_exposure: dict[str, list[str]] = {}
    for exposure, level in arms:
        levels = by_exposure.setdefault(exposure, [])
        if level not in levels:
            levels.append(level)
    found: dict[tuple[str, str], Look] = {}
    for place, (exposure, levels) in enumerate(by_exposure.items()):
        for rank, level in enumerate(levels):
            pair = PAIRS[(place + rank // 2) % len(PAIRS)]
            found[exposure, level] = Look(
                pair[rank % 2], DASHES[rank % len(DASHES)], MARKERS[rank % len(MARKERS)]
            )
    return found


@contextmanager
def drawing() -> Generator[None]:
    """Draw and save inside this: our look whatever the user's own settings are."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(STYLE)
        yield


def new_figure(width: float, height: float) -> Figure:
    """Give an empty figure in inches; not through pyplot, so nothing global remembers it."""
    return Figure(figsize=(width, height), layout="constrained")


def svg_of(figure: Figure) -> str:
    """Write a figure as SVG without date and with fixed ids."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata=METADATA["svg"])
    return out.getvalue()


def data_uri(svg: str) -> str:
    """Put an SVG in a page without another file; percent-encoded, so that its text can be read."""
    start = svg.find("<svg")
    return "data:image/svg+xml," + quote(svg[start:], safe=" /:=;,.()-_~*'")


def save_figure(figure: Figure, folder: Path, name: str, *, svg: str) -> list[Path]:
    """Save as SVG (drawn before), PDF and PNG at 300 dpi."""
    written = [folder / f"{name}.svg"]
    write_bytes(written[0], svg.encode())
    for kind, dpi in (("pdf", None), ("png", 300)):
        path = folder / f"{name}.{kind}"
        with replacing(path) as draft:
            figure.savefig(draft, format=kind, metadata=METADATA[kind], dpi=dpi or "figure")
        written.append(path)
    return written


def spread(places: Iterable[float], least: float) -> list[float]:
    """Push labels apart so that neighbours are at least `least` from each other."""
    wanted = list(places)
    order = sorted(range(len(wanted)), key=lambda place: wanted[place])
    for below, above in pairwise(order):
        gap = wanted[above] - wanted[below]
        if gap < least:
            wanted[below] -= (least - gap) / 2
            wanted[above] += (least - gap) / 2
    return wanted


def soft_grid(axes: Axes, axis: str = "y") -> None:
    """Draw thin lines behind the data."""
    axes.set_axisbelow(True)
    axes.grid(visible=True, axis=axis, color=RULE, linewidth=0.6)  # pyright: ignore[reportArgumentType]
