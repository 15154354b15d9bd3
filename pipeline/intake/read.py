"""Read a clinic's file as text, exactly as declared; nothing is guessed.

A text file is read as it stands, in this process: its cells are its bytes, so it takes memory in
proportion to its size, which is limited, and nothing in it can unfold. The fast reader sees only
lines of which the standard library has settled that they have one reading; should it stumble, the
standard library reads them. Everything else (workbooks, OpenDocument, Parquet, JSON lines,
archives) is read behind walls.
"""

import io
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import IO

import polars as pl

from pipeline.intake.coded import coded
from pipeline.intake.grid import Grid
from pipeline.intake.header import join_header, last_header_row, settle_hidden, settle_merged
from pipeline.intake.limits import MEGABYTE, Limits
from pipeline.intake.mapping import SourceFile
from pipeline.intake.quick_text import quick_sheet
from pipeline.intake.received import received
from pipeline.intake.sheet import OWN, ROW, Record, Sheet, lay_out
from pipeline.intake.text_file import as_utf8, text_records
from pipeline.intake.walls import read_behind_walls
from shared.errors import InputFileError

LIMITS = Limits()


def read_file(folder: Path, source: SourceFile, *, limits: Limits = LIMITS) -> Sheet:
    """Read one declared file of a clinic's folder.

    Raises
    ------
    InputFileError
        If the file is missing, empty, not in the declared encoding, dialect or format, outside of
        the folder, changes while it is read, or takes more than the limits allow.
    """
    with received(folder, source.path) as (path, handle):
        archive = _archive(source)
        if source.format == "text" and not archive:
            sheet = _text_sheet(path, source, limits)
        else:
            sheet = _walled_sheet(path, handle, source, archive=archive, limits=limits)
    if len(sheet.header) > limits.columns:
        raise InputFileError(
            sheet.where, f"it has {len(sheet.header)} columns, more than {limits.columns}",
            do="Check delimiter in the mapping, or ask the clinic for the columns that are needed.",
        )  # fmt: skip
    return replace(sheet, rows=coded(sheet.rows))


def _archive(source: SourceFile) -> str:
    if source.member or source.path.lower().endswith(".zip"):
        return "zip"
    return "gzip" if source.path.lower().endswith(".gz") else ""


def _text_sheet(path: Path, source: SourceFile, limits: Limits) -> Sheet:
    if path.stat().st_size > limits.text_mb * MEGABYTE:
        raise InputFileError(
            str(path), f"the file is larger than {limits.text_mb} MB",
            do="Ask the clinic for a smaller export, or for several files.",
        )  # fmt: skip
    return _split_text(as_utf8(path.read_bytes(), path, source.encoding), path, source)


def _split_text(content: bytes, path: Path, source: SourceFile) -> Sheet:
    try:
        sheet = quick_sheet(
            content, source, header_row=last_header_row(source),
            lay_out_head=lambda head: _laid_out(head, path, source),
        )  # fmt: skip
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        sheet = None
    return sheet or _laid_out(text_records(content.decode(), path, source), path, source)


def _walled_sheet(
    path: Path, handle: IO[bytes], source: SourceFile, *, archive: str, limits: Limits
) -> Sheet:
    inside = path / source.member if source.member else path
    request = {
        "where": str(inside), "format": source.format, "archive": archive,
        "member": source.member, "sheet": source.sheet,
    }  # fmt: skip
    answer, content = read_behind_walls(handle, request, limits)
    members = tuple(answer["members"])
    if answer["kind"] == "text":
        sheet = _split_text(as_utf8(content, inside, source.encoding), inside, source)
    elif answer["kind"] == "table":
        sheet = _table_sheet(pl.read_ipc(io.BytesIO(content)), inside, source)
    else:
        sheet = _grid_sheet(content, inside, source)
    return replace(sheet, other_members=members)


def _laid_out(
    records: Sequence[Record], path: Path, source: SourceFile, grid: Grid | None = None
) -> Sheet:
    """Lay records out below a header of one row or several."""
    bottom = last_header_row(source)
    sheet = lay_out(
        join_header(records, source, grid.merged if grid else ()), path=path,
        file=f"{source.path}/{source.member}" if source.member else source.path,
        sheet=grid.sheet if grid else "", header_row=bottom,
        number_repeats=source.repeated_headers == "number",
    )  # fmt: skip
    if source.header_rows == 1:
        return sheet
    aside = (
        (row, "part of the header" if source.header_row <= row < bottom else why)
        for row, why in sheet.set_aside
    )
    return replace(sheet, set_aside=tuple(aside))


def _grid_sheet(content: bytes, path: Path, source: SourceFile) -> Sheet:
    """Lay out a workbook's sheet, or JSON lines, whose row is the number of the line."""
    told = json.loads(content)
    grid = Grid(
        records=told["records"], sheet=told["sheet"], others=tuple(told["others"]),
        hidden_rows=tuple(told["hidden_rows"]), hidden_columns=tuple(told["hidden_columns"]),
        merged=tuple((a, b, c, d) for a, b, c, d in told["merged"]),
    )  # fmt: skip
    if source.format == "jsonl":
        sheet = _laid_out(grid.records, path, replace(source, header_row=1, header_rows=1))
        return replace(
            sheet, rows=sheet.rows.with_columns(pl.col(ROW) - 1),
            set_aside=tuple((row - 1, why) for row, why in sheet.set_aside),
        )  # fmt: skip
    where = f"{path}, sheet {grid.sheet}"
    sheet = _laid_out(settle_merged(grid, source, where), path, source, grid)
    return replace(settle_hidden(sheet, grid, source), other_sheets=grid.others)


def _table_sheet(frame: pl.DataFrame, path: Path, source: SourceFile) -> Sheet:
    """Lay out a Parquet file; its row is the number of the record."""
    names = [name.strip() for name in frame.columns]
    if len(set(names)) < len(names) or any(not name or name.startswith(OWN) for name in names):
        raise InputFileError(
            str(path), f'a column has no name, a name twice, or one that begins with "{OWN}"',
            do="Ask the clinic to rename it.",
        )  # fmt: skip
    plain = frame.rename(dict(zip(frame.columns, names, strict=True))).with_row_index(ROW, 1)
    texts = [
        pl.when(pl.col(name).str.strip_chars() != "").then(pl.col(name)).alias(name)
        for name in names
    ]
    rows = plain.select(pl.col(ROW).cast(pl.Int64), *texts)
    blank = pl.all_horizontal(pl.col(name).is_null() for name in names)
    return Sheet(
        where=str(path), file=f"{source.path}/{source.member}" if source.member else source.path,
        sheet="", header=tuple(names), rows=rows.filter(~blank), n_rows=rows.height,
        set_aside=tuple((row, "blank row") for row in rows.filter(blank)[ROW]),
    )  # fmt: skip
