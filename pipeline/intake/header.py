"""What a workbook draws and a table does not have: headers over several rows, hidden, merged."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

import polars as pl

from pipeline.intake.grid import Grid, Span, cell_name, column_name
from pipeline.intake.mapping import SourceFile
from pipeline.intake.sheet import ROW, Record, Sheet
from shared.errors import InputFileError

MOST_NAMED = 10


def last_header_row(source: SourceFile) -> int:
    """Give the row in which the header ends."""
    return source.header_row + source.header_rows - 1


def join_header(
    records: Sequence[Record], source: SourceFile, merged: Collection[Span] = ()
) -> list[Record]:
    """Write a header of several rows into its last row, each name from top to bottom.

    A cell merged over several columns stands for each of them; so does, with header_fill, a text
    of an upper row for the blank cells to its right. A text is not said twice.
    """
    top, bottom = source.header_row - 1, last_header_row(source)
    if source.header_rows == 1 or len(records) < bottom:
        return list(records)
    width = max(len(record) for record in records[top:bottom])
    rows = [[(cell or "").strip() for cell in record] for record in records[top:bottom]]
    rows = [row + [""] * (width - len(row)) for row in rows]
    for first, left, _, right in merged:
        if top < first <= bottom and left <= width:
            row = rows[first - 1 - top]
            row[left - 1 : right] = [row[left - 1]] * (min(right, width) - left + 1)
    if source.header_fill:
        rows[:-1] = [_carried(row) for row in rows[:-1]]
    names = [" ".join(dict.fromkeys(filter(None, parts))) for parts in zip(*rows, strict=True)]
    return [*records[: bottom - 1], names, *records[bottom:]]


def _carried(row: Iterable[str]) -> list[str]:
    last, carried = "", list[str]()
    for text in row:
        last = text or last
        carried.append(last)
    return carried


def settle_merged(grid: Grid, source: SourceFile, where: str) -> list[list[str]]:
    """Treat merged cells below the header as the mapping declares.

    Raises
    ------
    InputFileError
        If there are some with a value, and the mapping does not say what they mean.
    """
    records = [list(record) for record in grid.records]
    height = len(records)
    spans = [
        span for span in grid.merged
        if last_header_row(source) < span[0] <= height and (record := records[span[0] - 1])
        and span[1] <= len(record) and record[span[1] - 1]
    ]  # fmt: skip
    if spans and source.merged_cells == "refuse":
        places = (f"{cell_name(*span[:2])}:{cell_name(*span[2:])}" for span in spans)
        raise InputFileError(
            where, f"cells are merged below the header: {_some(places, len(spans))}",
            do='Add merged_cells = "first" (only the first cell holds the value) or "fill" (every '
            "cell holds it) to this [[file]], or ask the clinic to split them.",
        )  # fmt: skip
    for first, left, last, right in spans if source.merged_cells == "fill" else ():
        text = records[first - 1][left - 1]
        for record in records[first - 1 : last]:
            record[left - 1 : right] = [text] * max(min(right, len(record)) - left + 1, 0)
    return records


def settle_hidden(sheet: Sheet, grid: Grid, source: SourceFile) -> Sheet:
    """Treat hidden rows and columns as the mapping declares.

    Raises
    ------
    InputFileError
        If some hold data, and the mapping does not say whether they count.
    """
    hidden = pl.col(ROW).is_in(list(grid.hidden_rows))
    rows = sheet.rows.filter(hidden)[ROW].to_list()
    named = {column_name(place): sheet.header[place - 1] for place in grid.hidden_columns}
    columns = {letter: name for letter, name in named.items() if name in sheet.rows.columns}
    if rows and source.hidden_rows == "refuse":
        raise _hidden(sheet, f"rows are hidden: {_some(map(str, rows), len(rows))}",
                      'hidden_rows = "read" or "set_aside"')  # fmt: skip
    if columns and source.hidden_columns == "refuse":
        raise _hidden(sheet, f"columns are hidden: {_some(columns, len(columns))}",
                      'hidden_columns = "read" or "ignore"')  # fmt: skip
    if rows and source.hidden_rows == "set_aside":
        aside = [*sheet.set_aside, *((row, "hidden row") for row in rows)]
        sheet = replace(sheet, rows=sheet.rows.filter(~hidden), set_aside=tuple(sorted(aside)))
    if source.hidden_columns == "ignore":
        sheet = replace(sheet, rows=sheet.rows.drop(columns.values()))
    return sheet


def _hidden(sheet: Sheet, what: str, key: str) -> InputFileError:
    return InputFileError(
        sheet.where, what,
        do=f"Add {key} to this [[file]], or ask the clinic to show them and send it again.",
    )  # fmt: skip


def _some(names: Iterable[str], count: int) -> str:
    """List some names, and say how many more there are."""
    listed = list(names)[:MOST_NAMED]
    more = f" and {count - MOST_NAMED} more" if count > MOST_NAMED else ""
    return ", ".join(listed) + more
