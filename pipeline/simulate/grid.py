"""A sheet of an export as cells: what a dialect fills, a defect damages, and a file holds."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from pipeline.simulate.casebook import Case

Cell = str | int | float | date
Record = dict[str, Cell]


@dataclass(slots=True, kw_only=True, eq=False)
class Grid:
    """One table of an export; `rows` are mutable so that defects can be planted.

    `cases` holds the case behind each row, none for a training patient. `title` stands above
    the header, `foot` below the last row.
    """

    file: str
    header: tuple[str, ...]
    sheet: str = ""
    title: tuple[tuple[Cell, ...], ...] = ()
    foot: tuple[tuple[Cell, ...], ...] = ()
    rows: list[Record] = field(default_factory=list[Record])
    cases: list[Case | None] = field(default_factory=list["Case | None"])

    def add(self, case: Case | None, row: Record) -> None:
        """Append a row; cells left out are empty, an unknown column is an error."""
        unknown = row.keys() - set(self.header)
        if unknown:
            raise KeyError(sorted(unknown))
        self.rows.append(row)
        self.cases.append(case)

    def number(self, index: int) -> int:
        """Give the row number of the row at `index` as a spreadsheet shows it."""
        return len(self.title) + index + 2

    def cells(self) -> list[tuple[Cell, ...]]:
        """Give all lines of the sheet: title, header, rows, foot."""
        body = [tuple(row.get(name, "") for name in self.header) for row in self.rows]
        return [*self.title, self.header, *body, *self.foot]


def delimited(grid: Grid, *, delimiter: str, newline: str) -> str:
    """Write a grid as delimited text, quoting where a cell holds the delimiter or a quote."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator=newline)
    writer.writerows([[str(cell) for cell in line] for line in grid.cells()])
    return out.getvalue()


def decimal(value: float | None, *, comma: bool = False, places: int | None = None) -> str:
    """Write a number as a person would: no trailing zeros unless `places` are asked for."""
    if value is None:
        return ""
    text = f"{value:.{places}f}" if places is not None else f"{round(value, 6):g}"
    return text.replace(".", ",") if comma else text


def say(code: object, words: dict[str, str], *, empty: str = "") -> str:
    """Give the clinic's word for a code; a code without a word is an error."""
    return empty if code is None else words[str(code)]


def called(name: object, words: dict[str, str]) -> str:
    """Give the clinic's word for a name, or the name where it has none of its own."""
    return words.get(str(name), str(name))


def numbered(names: Sequence[str], count: int) -> tuple[str, ...]:
    """Repeat column names with a running number in the place of ``#``."""
    return tuple(name.replace("#", str(n)) for n in range(1, count + 1) for name in names)
