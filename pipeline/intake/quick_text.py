"""Large text files by a fast reader, where it provably gives what the strict one gives.

Line by line it is settled who reads it. A line without a quote, or whose every quote opens a cell
and closes it on the same line, with as many fields as the header, has one reading only: these go to
the fast reader together. Each other line begins a record that the strict reader reads by itself,
over as many lines as that takes. Wherever that does not settle a file, there is no quick reading.
"""

import csv
from codecs import BOM_UTF8
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.intake.lines import Bools, Ints, Lines, find_lines
from pipeline.intake.mapping import SourceFile
from pipeline.intake.sheet import ROW, Record, Sheet, is_filled, named_columns
from pipeline.intake.text_file import LONGEST_CELL, record_reader
from shared.errors import InputFileError

SEVERAL = 1000  # from so many lines, and a fifth of all, that need the strict reader: all do
WHITE = "".join(chr(code) for code in range(0x110000) if chr(code).isspace())


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
        return _with_body(sheet, content, source, at=at, first_row=header_row + 1)
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


def _with_body(
    sheet: Sheet, content: bytes, source: SourceFile, *, at: int, first_row: int
) -> Sheet | None:
    """Add the rows to a sheet; the content is read from here on."""
    if at == len(content):
        return sheet
    lines = find_lines(content, delimiter=source.delimiter, quote=source.quote, start=at)
    if (lines.ends - lines.starts).max() >= LONGEST_CELL:
        return None
    width, empty = len(sheet.header), lines.empty
    strict = (lines.cells != width) & ~empty
    if strict.sum() > max(SEVERAL, len(strict) / 5):
        return None
    records, goes_on = _strict_records(lines, strict, source)
    row = first_row - 1 + np.cumsum(~goes_on)
    quick = ~strict & ~empty & ~goes_on
    rows = _quick_rows(lines, quick, row[quick], source=source, width=width)
    if rows is None:
        return None
    blank = [int(number) for number in row[empty & ~goes_on]]
    ragged: list[tuple[int, int]] = []
    kept: list[tuple[int, Record]] = []
    for line, record in records:
        if not is_filled(record):
            blank.append(int(row[line]))
        elif len(record) != width:
            ragged.append((int(row[line]), len(record)))
        else:
            kept.append((int(row[line]), record))
    rows = _together(rows, kept)
    unfilled = _unfilled(rows)
    if unfilled.any():
        blank += rows.filter(unfilled)[ROW].to_list()
        rows = rows.filter(~unfilled)
    if ragged and rows.is_empty():
        return None
    return replace(
        sheet, rows=named_columns(rows, sheet.header), ragged=tuple(ragged),
        n_rows=sheet.n_rows + int((~goes_on).sum()),
        set_aside=(*sheet.set_aside, *((number, "blank row") for number in sorted(blank))),
    )  # fmt: skip


def _strict_records(lines: Lines, strict: Bools, source: SourceFile
                    ) -> tuple[list[tuple[int, Record]], Bools]:  # fmt: skip
    """Read the records that begin on these lines; with the lines on which one goes on."""
    goes_on = np.zeros(len(strict), dtype=np.bool_)
    last = -1

    def following() -> Iterator[str]:
        nonlocal last
        while last + 1 < len(strict):
            last += 1
            yield lines.text(last)

    reader = record_reader(following(), source)
    records: list[tuple[int, Record]] = []
    for line in np.flatnonzero(strict).tolist():
        if line <= last:
            continue
        last = line - 1
        records.append((line, next(reader)))
        goes_on[line + 1 : last + 1] = True
    return records, goes_on


def _quick_rows(
    lines: Lines, quick: Bools, row: Ints, *, source: SourceFile, width: int
) -> pl.DataFrame | None:
    """Read these lines by the fast reader; None if it sees another number of rows."""
    names = [str(place) for place in range(width)]
    schema: dict[str, pl.DataType] = dict.fromkeys(names, pl.String())
    number = pl.Series(ROW, row, dtype=pl.Int64)
    if not quick.any():
        return pl.DataFrame(schema={ROW: pl.Int64(), **schema})
    whole = bool(quick.all()) and b"\r" not in lines.content
    frame = pl.read_csv(
        lines.content if whole else _joined(lines, quick), has_header=False, schema=schema,
        separator=source.delimiter, quote_char=source.quote or None, infer_schema=False,
        skip_lines=lines.content.count(b"\n", 0, lines.starts[0]) if whole else 0,
    )  # fmt: skip
    if frame.height != number.len():
        return None
    return frame.with_columns(
        pl.when(pl.col(name) != "").then(name).alias(name)
        for name in names
        if source.quote and (frame[name] == "").any()
    ).select(number, *names)


def _joined(lines: Lines, quick: Bools) -> bytes:
    """Put these lines together, each ended by a line feed."""
    if quick.all():
        content = lines.content[lines.starts[0] :]
    else:
        edges = np.flatnonzero(np.diff(np.concatenate([[False], quick, [False]])))
        whole = memoryview(lines.content)
        content = b"".join(
            whole[lines.starts[first] : lines.ends[after - 1]]
            for first, after in edges.reshape(-1, 2)
        )
    return content.replace(b"\r\n", b"\n") if b"\r" in content else content


def _together(rows: pl.DataFrame, kept: list[tuple[int, Record]]) -> pl.DataFrame:
    """Put the rows of both readers in the order of the file; takes the columns out of `rows`."""
    if not kept:
        return rows
    others = pl.DataFrame(
        [[number, *(cell or None for cell in record)] for number, record in kept],
        schema=rows.schema, orient="row",
    )  # fmt: skip
    order = pl.concat([rows[ROW], others[ROW]]).arg_sort()
    return pl.DataFrame(  # column by column: all at once would be held twice
        pl.concat([rows.drop_in_place(column.name), column], rechunk=True).gather(order)
        for column in others.iter_columns()
    )


def _unfilled(rows: pl.DataFrame) -> pl.Series:
    """Tell which rows hold nothing but white space; most are told by their first cell."""

    def is_blank(name: str) -> pl.Expr:
        return pl.col(name).str.strip_chars(WHITE).fill_null("") == ""

    names = [name for name in rows.columns if name != ROW]
    blank = rows.select(is_blank(names[0])).to_series()
    if blank.any():
        some = rows.filter(blank)
        all_blank = some.filter(pl.all_horizontal(is_blank(name) for name in names))[ROW]
        blank = rows[ROW].is_in(all_blank.implode())
    return blank
