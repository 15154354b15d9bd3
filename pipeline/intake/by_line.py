"""Large text files line by line, each by the reader that gives what the strict one gives.

A line without a quote, or whose every quote opens a cell and closes it on the same line, with as
many fields as the header, has one reading only: these go to the fast reader together. Each other
line begins a record that the strict reader reads by itself, over as many lines as that takes.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.intake.fast_codes import SAMPLE, read_coded, with_texts
from pipeline.intake.fast_reader import read_cells, unfilled
from pipeline.intake.lines import Bools, Ints, Lines, find_lines
from pipeline.intake.mapping import SourceFile
from pipeline.intake.sheet import ROW, Record, Sheet, is_filled, named_columns
from pipeline.intake.text_file import LONGEST_CELL, record_reader

SEVERAL = 1000  # from so many lines, and a fifth of all, that need the strict reader: all do


def with_lines(
    sheet: Sheet, content: bytes, source: SourceFile, *, at: int, first_row: int
) -> Sheet | None:
    """Add the rows to a sheet, or give None where it is open what they are; read from here on."""
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
    no_cell = unfilled(rows)
    if no_cell.any():
        blank += rows.filter(no_cell)[ROW].to_list()
        rows = rows.filter(~no_cell)
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
    if not quick.any():
        names = [str(place) for place in range(width)]
        return pl.DataFrame(schema={ROW: pl.Int64(), **dict.fromkeys(names, pl.String())})
    read = read_coded if row.size > SAMPLE else read_cells
    rows = read(_joined(lines, quick), source, width=width)
    if rows.height != row.size:
        return None
    return rows.insert_column(0, pl.Series(ROW, row, dtype=pl.Int64))


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
    names = rows.columns
    others = pl.DataFrame(
        [[number, *(cell or None for cell in record)] for number, record in kept],
        schema={name: pl.Int64() if name == ROW else pl.String() for name in names}, orient="row",
    )  # fmt: skip
    order = pl.concat([rows[ROW], others[ROW]]).arg_sort()
    return pl.DataFrame([  # column by column: all at once would be held twice
        pl.concat(with_texts(rows.drop_in_place(name), others[name]), rechunk=True).gather(order)
        for name in names
    ])  # fmt: skip
