"""One sheet of an OpenDocument spreadsheet (.ods) as text, streamed with the standard library."""

import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import IO

from pipeline.intake.archive import open_archive
from pipeline.intake.grid import Cells, Grid, Span
from pipeline.intake.limits import MOST_BLANK_ROWS, Limits
from pipeline.intake.markup import read_part
from pipeline.intake.number_formats import number_text
from pipeline.intake.workbook import chosen_sheet
from pipeline.intake.workbook_sheet import MOST_COLUMNS, MOST_ROWS, whole
from shared.errors import InputFileError

CONTENT = "content.xml"
NOT_SHOWN = ("collapse", "filter")
_DURATION = re.compile(r"PT(\d+)H(\d+)M(\d+)(?:[.,]\d+)?S")


def read_opendocument(handle: IO[bytes], sheet: str, *, where: str, limits: Limits) -> Grid:
    """Read one sheet; see `workbook.read_workbook` for what cells become.

    Raises
    ------
    InputFileError
        If it is no OpenDocument spreadsheet, the sheet is not in it, or the limits do not allow it.
    """
    archive = open_archive(handle, where, limits)
    if CONTENT not in archive.namelist():
        raise InputFileError(
            where, "it is a zip archive but no OpenDocument spreadsheet",
            do="Open it in a spreadsheet program and save it again as .ods.",
        )  # fmt: skip
    names = _sheet_names(archive, where)
    name = chosen_sheet(sheet, names, names, where=where)
    reader = TableReader(cells=Cells(where=f"{where}, sheet {name}", limits=limits), name=name)
    read_part(archive, CONTENT, where=where, start=reader.start, end=reader.end, text=reader.text)
    cells = reader.cells
    return Grid(
        records=cells.records(), sheet=name, others=tuple(item for item in names if item != name),
        hidden_rows=tuple(row for row in sorted(reader.hidden_rows) if row in cells.rows),
        hidden_columns=tuple(item for item in sorted(reader.hidden_columns) if item <= cells.width),
        merged=tuple(reader.merged),
    )  # fmt: skip


def _sheet_names(archive: zipfile.ZipFile, where: str) -> list[str]:
    names: list[str] = []
    inside: list[str] = []

    def start(tag: str, attributes: Mapping[str, str]) -> None:
        if tag == "table" and "table" not in inside:
            names.append(attributes.get("table:name", ""))
        inside.append(tag)

    def end(_: str) -> None:
        inside.pop()

    read_part(archive, CONTENT, where=where, start=start, end=end)
    return names


@dataclass(slots=True, kw_only=True)
class TableReader:
    """Takes the elements of the document one by one and keeps those of one table."""

    cells: Cells
    name: str
    inside: bool = False
    row: int = 0
    column: int = 0
    next_row: int = 1
    next_column: int = 1
    column_count: int = 0
    cell: Mapping[str, str] = field(default_factory=dict[str, str])
    paragraphs: list[str] = field(default_factory=list[str])
    in_text: int = 0
    in_note: int = 0
    hidden_rows: set[int] = field(default_factory=set[int])
    hidden_columns: set[int] = field(default_factory=set[int])
    merged: list[Span] = field(default_factory=list[Span])
    filled: list[tuple[int, int, str]] = field(default_factory=list[tuple[int, int, str]])
    row_repeats: int = 1

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """Take the start of an element."""
        if tag == "table":
            self._start_table(attributes)
        elif not self.inside:
            return
        elif tag == "table-column":
            self._take_columns(attributes)
        elif tag == "table-row":
            self._start_row(attributes)
        elif tag in ("table-cell", "covered-table-cell"):
            self.cell, self.paragraphs = attributes, []
        elif tag == "annotation":
            self.in_note += 1
        elif tag == "p" and not self.in_note:
            self.in_text += 1
            self.paragraphs.append("")
        elif self.in_text and not self.in_note:
            spaces = {"s": " " * min(whole(attributes.get("text:c")) or 1, 1000)}
            self.text((spaces | {"tab": "\t", "line-break": "\n"}).get(tag, ""))

    def end(self, tag: str) -> None:
        """Take the end of an element."""
        if tag == "table":
            self.inside = False
        elif not self.inside:
            return
        elif tag in ("table-cell", "covered-table-cell"):
            self._end_cell()
        elif tag == "table-row":
            self._end_row()
        elif tag == "annotation":
            self.in_note -= 1
        elif tag == "p" and not self.in_note:
            self.in_text -= 1

    def text(self, piece: str) -> None:
        """Take a piece of text."""
        if self.in_text and not self.in_note and self.paragraphs:
            self.paragraphs[-1] += piece

    def _start_table(self, attributes: Mapping[str, str]) -> None:
        if self.inside:
            raise self.cells.refused(self.row, self.next_column, "the cell holds a table")
        self.inside = attributes.get("table:name", "") == self.name and not self.cells.rows

    def _take_columns(self, attributes: Mapping[str, str]) -> None:
        repeats = min(_repeats(attributes, "table:number-columns-repeated"), MOST_COLUMNS)
        if attributes.get("table:visibility") in NOT_SHOWN:
            self.hidden_columns |= set(
                range(self.column_count + 1, self.column_count + repeats + 1)
            )
        self.column_count += repeats

    def _start_row(self, attributes: Mapping[str, str]) -> None:
        self.row, self.next_column, self.filled = self.next_row, 1, []
        self.row_repeats = _repeats(attributes, "table:number-rows-repeated")
        self.next_row += self.row_repeats
        if attributes.get("table:visibility") in NOT_SHOWN:
            last = min(self.next_row, self.row + MOST_ROWS)
            self.hidden_rows |= set(range(self.row, last))

    def _end_cell(self) -> None:
        repeats = _repeats(self.cell, "table:number-columns-repeated")
        column, self.next_column = self.next_column, self.next_column + repeats
        rows = whole(self.cell.get("table:number-rows-spanned")) or 1
        columns = whole(self.cell.get("table:number-columns-spanned")) or 1
        if rows > 1 or columns > 1:
            self.merged.append((self.row, column, self.row + rows - 1, column + columns - 1))
        text = self._cell_text()
        if text.strip():
            last = min(column + repeats, self.cells.limits.columns + 2)
            self.filled += [(self.row, place, text) for place in range(column, last)]

    def _end_row(self) -> None:
        if self.filled and self.row_repeats > MOST_BLANK_ROWS:
            raise self.cells.refused(
                self.row, self.filled[0][1], f"its row is repeated {self.row_repeats} times"
            )
        for step in range(self.row_repeats if self.filled else 0):
            for row, column, text in self.filled:
                self.cells.put(row + step, column, text)

    def _cell_text(self) -> str:
        """Give the value behind the cell where it has a type, otherwise what it shows."""
        cell, shown = self.cell, "\n".join(self.paragraphs)
        kind = cell.get("office:value-type", "")
        values = {
            "date": _date_text(cell.get("office:date-value", shown)),
            "time": _time_text(cell.get("office:time-value", ""), shown),
            "boolean": cell.get("office:boolean-value", shown),
        }
        if cell.get("calcext:value-type") == "error":
            return shown or "#ERROR"
        if not kind and not shown and "table:formula" in cell:
            return "=" + cell["table:formula"].partition("=")[2]
        if kind in ("float", "percentage", "currency"):
            return number_text(cell.get("office:value", shown), "", from_1904=False)
        return values.get(kind) or shown or cell.get("office:string-value", "")


def _date_text(value: str) -> str:
    day, _, time = value.partition("T")
    return f"{day} {(time or '00:00:00')[:8]}"


def _time_text(value: str, shown: str) -> str:
    parts = _DURATION.fullmatch(value)
    return ":".join(parts.groups()) if parts else shown


def _repeats(attributes: Mapping[str, str], name: str) -> int:
    return max(whole(attributes.get(name)), 1)
