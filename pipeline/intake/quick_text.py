"""Large text files by a fast reader, where it provably gives what the strict one gives.

Most files are settled by a count: every record has one reading, and as many cells as the header.
These the fast reader reads as they are. Of others it is settled line by line who reads what, and
wherever that does not settle a file, there is no quick reading.
"""

import csv
from codecs import BOM_UTF8
from collections.abc import Callable, Iterator
from dataclasses import replace

import polars as pl

from pipeline.intake.by_line import with_lines
from pipeline.intake.fast_codes import SAMPLE, read_coded
from pipeline.intake.fast_reader import read_cells, unfilled
from pipeline.intake.mapping import SourceFile
from pipeline.intake.settled import count_records
from pipeline.intake.sheet import ROW, Record, Sheet, named_columns
from pipeline.intake.text_file import record_reader
from shared.errors import InputFileError


def quick_sheet(
    content: bytes, source: SourceFile, *, header_row: int,
    lay_out_head: Callable[[list[Record]], Sheet],
) -> Sheet | None:  # fmt: skip
    """Read a text (UTF-8) as `text_records` and `lay_out` do, or give None where that is open.

    Parameters
    ----------
    header_row
        The last row of the header.
    lay_out_head
        Lays out the records down to the header.
    """
    if not _is_settled(content, source):
        return None
    try:
        head, at = _head(content, source, header_row)
        if len(head) < header_row:
            return None
        sheet = lay_out_head(head)
        if at == len(content):
            return sheet
        whole = _with_records(sheet, content, source, at=at, first_row=header_row + 1)
        return whole or with_lines(sheet, content, source, at=at, first_row=header_row + 1)
    except (csv.Error, InputFileError):  # the strict reader words it
        return None


def _is_settled(content: bytes, source: SourceFile) -> bool:
    """Tell whether lines end at line feeds only, and whether the marks are plain characters."""
    marks = source.delimiter + source.quote
    plain = len(source.delimiter) == 1 and len(source.quote) <= 1 and marks.isascii()
    if not plain or set(marks) & {"\r", "\n"} or content.startswith(BOM_UTF8):
        return False
    return b"\r" not in content or content.count(b"\r") == content.count(b"\r\n")


def _head(content: bytes, source: SourceFile, header_row: int) -> tuple[list[Record], int]:
    """Read the records down to the header; with the place where the next begins."""
    taken = 0

    def lines() -> Iterator[str]:
        nonlocal taken
        while taken < len(content):
            line = content[taken : content.find(b"\n", taken) + 1 or len(content)]
            taken += len(line)
            yield line.decode()

    reader = record_reader(lines(), source)
    records: list[Record] = []
    while len(records) < header_row:
        record = next(reader, None)
        if record is None:
            break
        records.append(record)
    return records, taken


def _with_records(
    sheet: Sheet, content: bytes, source: SourceFile, *, at: int, first_row: int
) -> Sheet | None:
    """Add the rows to a sheet, if all of them surely fit its header; read from here on."""
    width = len(sheet.header)
    if width == 1:  # no delimiter tells a row of one cell from a blank line
        return None
    counted = count_records(content, delimiter=source.delimiter, quote=source.quote, start=at)
    if counted is None or counted[1] != counted[0] * (width - 1):
        return None
    read = read_coded if counted[0] > SAMPLE else read_cells
    try:
        rows = read(content, source, width=width, skip_lines=content.count(b"\n", 0, at))
    except pl.exceptions.PolarsError:  # one record is longer, and another shorter
        return None
    if rows.height != counted[0]:
        return None
    rows.insert_column(0, pl.int_range(first_row, first_row + rows.height, eager=True).alias(ROW))
    blank = unfilled(rows)
    return replace(
        sheet, rows=named_columns(rows.filter(~blank) if blank.any() else rows, sheet.header),
        n_rows=sheet.n_rows + rows.height,
        set_aside=(*sheet.set_aside, *((row, "blank row") for row in rows.filter(blank)[ROW])),
    )  # fmt: skip
