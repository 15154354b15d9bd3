"""A table of the report: cells with the row they come from, as accessible HTML and as CSV.

Written here and not with a table library: the libraries at hand give no scope to row headers and
carry no address per cell.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from pipeline.report.text import letter_of


@dataclass(frozen=True, slots=True)
class Cell:
    """What is printed in one cell, and the row of the results it was read from."""

    text: str | Markup
    row_id: str = ""
    concerns: tuple[str, ...] = ()  # what to mind about the number, in words
    detail: str = ""  # under the number in small print: what it rests on
    pale: bool = False  # greyed: too few stifles to lean on
    words: bool = False  # prose that may wrap
    span: int = 1  # columns it takes


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a table: its header and its cells; a heading line has no cells."""

    header: str | Markup
    cells: tuple[Cell, ...] = ()
    indented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table with a fixed id; `columns` names the header column first."""

    id: str
    caption: str
    columns: tuple[str, ...]
    lines: tuple[Line, ...]
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a line that does not fit the columns."""
        for line in self.lines:
            width = sum(cell.span for cell in line.cells)
            if line.cells and width != len(self.columns) - 1:
                raise ValueError(f"table {self.id}: the line {line.header!r} does not fit")


EMPTY = Cell("")


def as_html(table: Table) -> Markup:
    """Write a table with caption, column and row headers, in a box that scrolls by itself.

    What is to be minded about a number is marked by a letter beside it and said under the table.
    """
    marks = _marks(table)
    head = Markup("").join(Markup('<th scope="col">{}</th>').format(name) for name in table.columns)
    bodies = Markup("\n").join(_body(part, table, marks) for part in _parts(table.lines))
    notes = Markup("\n").join(Markup('<p class="note">{}</p>').format(note) for note in table.notes)
    return Markup(
        '<div class="scroll" role="region" aria-labelledby="{id}-caption" tabindex="0">\n'
        '<table id="{id}">\n<caption id="{id}-caption">'
        '<span class="stay">{caption}</span></caption>\n'
        "<thead><tr>{head}</tr></thead>\n{bodies}\n</table>\n</div>\n{minded}{notes}"
    ).format(
        id=table.id, caption=table.caption, head=head, bodies=bodies, notes=notes,
        minded=_minded(table, marks),
    )  # fmt: skip


def _marks(table: Table) -> dict[str, str]:
    """Give each concern of a table a letter, in the order of appearance."""
    concerns = (text for line in table.lines for cell in line.cells for text in cell.concerns)
    return {text: letter_of(place) for place, text in enumerate(dict.fromkeys(concerns))}


def _minded(table: Table, marks: Mapping[str, str]) -> Markup:
    if not marks:
        return Markup("")
    items = Markup("\n").join(
        Markup('<li id="{}-{}"><sup>{}</sup> {}</li>').format(table.id, mark, mark, text)
        for text, mark in marks.items()
    )
    return Markup('<ul class="minded">\n{}\n</ul>\n').format(items)


def as_csv(table: Table) -> str:
    """Write a table as CSV, each column of numbers followed by its row ids."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    names = [part for name in table.columns[1:] for part in (name, f"{name} [row]")]
    writer.writerow([table.columns[0], *names])
    for line in table.lines:
        cells = line.cells or (EMPTY,) * (len(table.columns) - 1)
        parts = [part for cell in cells for part in _csv_parts(cell)]
        writer.writerow([_harmless(part) for part in (_plain(line.header), *parts)])
    return out.getvalue()


def _csv_parts(cell: Cell) -> list[str]:
    return [_all_text(cell), cell.row_id, *([""] * 2 * (cell.span - 1))]


def _parts(lines: Sequence[Line]) -> list[list[Line]]:
    """Cut the lines before each heading: a heading and what it heads are one body."""
    parts: list[list[Line]] = [[]]
    for line in lines:
        if not line.cells and parts[-1]:
            parts.append([])
        parts[-1].append(line)
    return parts


def _body(lines: Sequence[Line], table: Table, marks: Mapping[str, str]) -> Markup:
    inside = Markup("\n").join(_line(line, table, marks) for line in lines)
    return Markup("<tbody>\n{}\n</tbody>").format(inside)


def _line(line: Line, table: Table, marks: Mapping[str, str]) -> Markup:
    if not line.cells:
        return Markup(
            '<tr class="group"><th scope="rowgroup" colspan="{}">'
            '<span class="stay">{}</span></th></tr>'
        ).format(len(table.columns), line.header)
    mark = Markup(' class="indented"') if line.indented else Markup("")
    cells = Markup("").join(_cell(cell, table, marks) for cell in line.cells)
    return Markup('<tr{}><th scope="row">{}</th>{}</tr>').format(mark, line.header, cells)


def _cell(cell: Cell, table: Table, marks: Mapping[str, str]) -> Markup:
    kinds = [name for name in ("pale", "words") if getattr(cell, name)]
    kind = Markup(' class="{}"').format(" ".join(kinds)) if kinds else Markup("")
    address = Markup(' data-row="{}"').format(cell.row_id) if cell.row_id else Markup("")
    span = Markup(' colspan="{}"').format(cell.span) if cell.span > 1 else Markup("")
    letters = Markup(" ").join(
        Markup('<a href="#{}-{}">{}</a>').format(table.id, marks[text], marks[text])
        for text in cell.concerns
    )
    mark = Markup(" <sup>{}</sup>").format(letters) if letters else Markup("")
    detail = Markup('<span class="detail">{}</span>').format(cell.detail) if cell.detail else ""
    return Markup("<td{}{}{}>{}{}{}</td>").format(kind, span, address, cell.text, mark, detail)


def _all_text(cell: Cell) -> str:
    return "; ".join(filter(None, (_plain(cell.text), cell.detail, *cell.concerns)))


def _plain(text: str | Markup) -> str:
    return text.striptags() if isinstance(text, Markup) else text


def _harmless(text: str) -> str:
    """Keep a spreadsheet from reading a cell as a formula."""
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
