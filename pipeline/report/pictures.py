"""Figures of a report: drawn once into its page, saved under figures/ afterwards."""

from dataclasses import dataclass, field
from pathlib import Path

from matplotlib.figure import Figure

from pipeline.report.figures import data_uri, save_figure, svg_of


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawn figure, the name of its files, and its drawing as SVG."""

    name: str
    figure: Figure
    svg: str


@dataclass(frozen=True, slots=True)
class Pictures:
    """Collects figures while pages are written; nothing is saved before `save`."""

    drawn: list[Picture] = field(default_factory=list[Picture])

    def draw(self, name: str, figure: Figure) -> str:
        """Keep a figure for saving; give it as an address that holds the drawing itself.

        Its places are worked out once, here: all its files look the same.
        """
        svg = svg_of(figure)
        figure.set_layout_engine("none")
        self.drawn.append(Picture(name, figure, svg))
        return data_uri(svg)

    def save(self, folder: Path) -> list[Path]:
        """Save all as SVG, PDF and PNG."""
        return [
            path
            for item in self.drawn
            for path in save_figure(item.figure, folder, item.name, svg=item.svg)
        ]
