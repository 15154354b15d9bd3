"""Figures of a report as they are drawn, to be saved under figures/ afterwards."""

from dataclasses import dataclass, field
from pathlib import Path

from matplotlib.figure import Figure

from pipeline.report.figures import save_figure


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawn figure and the name of its files."""

    name: str
    figure: Figure


@dataclass(frozen=True, slots=True)
class Pictures:
    """Collects figures while pages are written; nothing is saved before `save`."""

    drawn: list[Picture] = field(default_factory=list[Picture])

    def add(self, picture: Picture) -> None:
        """Keep a figure for saving."""
        self.drawn.append(picture)

    def save(self, folder: Path) -> list[Path]:
        """Save all as SVG, PDF and PNG."""
        return [path for item in self.drawn for path in save_figure(item.figure, folder, item.name)]
