"""A clinic's file as text: every cell as received, with its row as a spreadsheet shows it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.intake.screen_cells import shown
from shared.errors import InputFileError

ROW = "sulca:row"  # the row number beside the clinic's own columns
OWN = "sulca:"  # what the program's own columns are called
Record = Sequence[str | None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """One text file, or one sheet of a workbook.

    Attributes
    ----------
    where
        The file as a user finds it, and its sheet; for messages.
    file, sheet
        Path inside the clinic's folder; name of the sheet, "" for text files.
    header
        The clinic's own column names.
    rows
        ROW and one column per header, of text or coded (see coded.py); blank cells are null.
    set_aside
        Row number and reason of rows that carry no data: titles, blank rows.
    ragged
        Row number and number of fields of rows that do not fit the header.
    n_rows
        All rows of the source but the header, as the reader gave them.
    other_sheets, other_members
        What stands beside it in its workbook or archive.
    """

    where: str
    file: str
    sheet: str
    header: tuple[str, ...]
    rows: pl.DataFrame
    n_rows: int
    set_aside: tuple[tuple[int, str], ...] = ()
    ragged: tuple[tuple[int, int], ...] = ()
    other_sheets: tuple[str, ...] = ()
    other_members: tuple[str, ...] = ()


def lay_out(
    records: Sequence[Record],
    *,
    path: Path,
    file: str,
    sheet: str,
    header_row: int,
    number_repeats: bool,
) -> Sheet:
    """Part title rows, header, blank rows, ragged rows and data rows.

    Raises
    ------
    InputFileError
        If there is no header in that row, a header stands twice, or no row fits the header.
    """
    where = f"{path}, sheet {sheet}" if sheet else str(path)
    if not any(is_filled(record) for record in records):
        raise InputFileError(where, "the file is empty", do="Ask the clinic to export it again.")
    if len(records) < header_row or not is_filled(records[header_row - 1]):
        raise InputFileError(
            f"{where}, row {header_row}",
            "there is no header in this row",
            do="Set header_row in the mapping to the row that holds the column names.",
        )
    names = [(cell or "").strip() for cell in records[header_row - 1]]
    header = _header(names, where=f"{where}, row {header_row}", number_repeats=number_repeats)
    aside: list[tuple[int, str]] = []
    ragged: list[tuple[int, int]] = []
    kept: list[tuple[int, Record]] = []
    for number, record in enumerate(records, start=1):
        if number == header_row:
            continue
        if not is_filled(record):
            aside.append((number, "blank row"))
        elif number < header_row:
            aside.append((number, "above the header"))
        elif len(record) != len(header):
            ragged.append((number, len(record)))
        else:
            kept.append((number, record))
    if ragged and not kept:
        number, fields = ragged[0]
        raise InputFileError(
            f"{where}, row {number}",
            f"the row has {fields} fields, the header {len(header)}; no row fits the header",
            do="Check delimiter, quote and header_row in the mapping.",
        )
    return Sheet(
        where=where, file=file, sheet=sheet, header=header, rows=_frame(kept, header),
        n_rows=len(records) - 1, set_aside=tuple(aside), ragged=tuple(ragged),
    )  # fmt: skip


def is_filled(record: Record) -> bool:
    """Tell whether any cell holds more than white space."""
    return any(cell and cell.strip() for cell in record)


def _header(names: Iterable[str], *, where: str, number_repeats: bool) -> tuple[str, ...]:
    found: list[str] = []
    counts: dict[str, int] = {}
    for place, name in enumerate(names, start=1):
        label = name or f"(column {place})"
        if label.startswith(OWN):
            raise InputFileError(
                where, f'column {place} has a name that begins with "{OWN}"',
                do="Such names are used inside the program; ask the clinic to rename it.",
            )  # fmt: skip
        counts[label] = counts.get(label, 0) + 1
        if counts[label] > 1:
            if not number_repeats:
                raise InputFileError(
                    where,
                    f'the column "{shown(label)}" stands twice',
                    do='Set repeated_headers = "number" in the mapping and use '
                    f'"{shown(label)} (2)" for the second, or ask the clinic to rename it.',
                )
            label = f"{label} ({counts[label]})"
        found.append(label)
    return tuple(found)


def _frame(kept: Sequence[tuple[int, Record]], header: Sequence[str]) -> pl.DataFrame:
    columns = [[record[place] or None for _, record in kept] for place in range(len(header))]
    cells = {str(place): cells for place, cells in enumerate(columns)}
    schema: dict[str, pl.DataType] = {ROW: pl.Int64(), **dict.fromkeys(cells, pl.String())}
    rows = pl.DataFrame({ROW: [number for number, _ in kept]} | cells, schema=schema)
    return named_columns(rows, header)


def named_columns(rows: pl.DataFrame, header: Sequence[str]) -> pl.DataFrame:
    """Name the columns; those without a name and without a cell are left out."""
    return rows.select(
        ROW,
        *(
            pl.col(str(place)).alias(name)
            for place, name in enumerate(header)
            if not name.startswith("(column ") or rows[str(place)].null_count() < rows.height
        ),
    )
