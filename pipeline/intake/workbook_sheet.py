"""The cells of one .xlsx sheet, as its XML goes by."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.intake.grid import Cells, Grid, Span, cell_place
from pipeline.intake.number_formats import number_text

MOST_ROWS = 1_048_576
MOST_COLUMNS = 16_384
CAPTURED = ("v", "f", "t")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


@dataclass(slots=True, kw_only=True)
class SheetReader:
    """Takes the elements of a sheet one by one; `grid` gives what they made."""

    cells: Cells
    texts: Sequence[str]
    kinds: Sequence[str]
    from_1904: bool
    row: int = 0
    column: int = 0
    cell: Mapping[str, str] = field(default_factory=dict[str, str])
    found: dict[str, str] = field(default_factory=dict[str, str])
    capturing: str = ""
    pronunciation: int = 0
    hidden_rows: list[int] = field(default_factory=list[int])
    hidden_columns: list[tuple[int, int]] = field(default_factory=list[tuple[int, int]])
    merged: list[Span] = field(default_factory=list[Span])

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """Take the start of an element."""
        if tag == "c":
            self._start_cell(attributes)
        elif tag in CAPTURED:
            self.capturing = tag
            self.found.setdefault(tag, "")
        elif tag == "rPh":
            self.pronunciation += 1
        elif tag == "row":
            self._start_row(attributes)
        elif tag == "col" and truth(attributes.get("hidden")):
            first, last = whole(attributes.get("min")), whole(attributes.get("max"))
            self.hidden_columns.append((first, last))
        elif tag == "mergeCell":
            first, _, last = attributes.get("ref", "").partition(":")
            span = (cell_place(first), cell_place(last or first))
            if span[0] and span[1]:
                self.merged.append((*span[0], *span[1]))

    def end(self, tag: str) -> None:
        """Take the end of an element."""
        if tag == "c":
            self.cells.put(self.row, self.column, self._cell_text())
        elif tag == "rPh":
            self.pronunciation -= 1
        elif tag in CAPTURED:
            self.capturing = ""

    def text(self, piece: str) -> None:
        """Take a piece of text."""
        if self.capturing and not self.pronunciation:
            self.found[self.capturing] += piece

    def grid(self, name: str, others: tuple[str, ...]) -> Grid:
        """Give the sheet as it was read."""
        hidden = (
            column
            for first, last in self.hidden_columns
            for column in range(first, min(last, self.cells.width) + 1)
        )
        return Grid(
            records=self.cells.records(), sheet=name, others=others,
            hidden_rows=tuple(sorted({row for row in self.hidden_rows if row in self.cells.rows})),
            hidden_columns=tuple(sorted(set(hidden))), merged=tuple(self.merged),
        )  # fmt: skip

    def _start_row(self, attributes: Mapping[str, str]) -> None:
        self.row = whole(attributes.get("r")) or self.row + 1
        self.column = 0
        if self.row > MOST_ROWS:
            raise self.cells.refused(self.row, 1, "no workbook has so many rows")
        if truth(attributes.get("hidden")):
            self.hidden_rows.append(self.row)

    def _start_cell(self, attributes: Mapping[str, str]) -> None:
        place = cell_place(attributes.get("r", "")) or (self.row, self.column + 1)
        self.row, self.column = place
        if self.column > MOST_COLUMNS or self.row > MOST_ROWS:
            raise self.cells.refused(self.row, self.column, "no workbook has such a cell")
        self.cell = attributes
        self.found.clear()

    def _cell_text(self) -> str:
        kind, value = self.cell.get("t", "n"), self.found.get("v", "")
        if "f" in self.found and not value and kind != "str":
            return "=" + self.found["f"]  # a formula that nobody calculated
        if kind == "inlineStr":
            return unescaped(self.found.get("t", ""))
        if kind == "s" and value:
            return self._shared(value)
        if kind == "b":
            return {"1": "true", "0": "false"}.get(value, value)
        if kind == "n" and value:
            style = whole(self.cell.get("s"))
            shows = self.kinds[style] if style < len(self.kinds) else ""
            return number_text(value, shows, from_1904=self.from_1904)
        return value.replace("T", " ", 1) if kind == "d" else unescaped(value)

    def _shared(self, value: str) -> str:
        place = whole(value)
        if not value.isdecimal() or place >= len(self.texts):
            raise self.cells.refused(self.row, self.column, "it points to a text that is not there")
        return self.texts[place]


def truth(text: str | None) -> bool:
    """Read a Boolean of XML."""
    return text in ("1", "true")


def whole(text: str | None) -> int:
    """Read a whole number of XML, 0 where there is none."""
    return int(text) if text and text.isdecimal() and len(text) < 10 else 0


def unescaped(text: str) -> str:
    """Read "_x000D_" as the character it stands for, unless that cannot stand in a text."""

    def character(found: re.Match[str]) -> str:
        number = int(found[1], 16)
        return found[0] if number == 0 or 0xD800 <= number < 0xE000 else chr(number)

    return _ESCAPED.sub(character, text) if "_x" in text else text
