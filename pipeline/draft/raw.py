"""The records of a file as they stand, before anything is known of its header."""

import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.draft.dialect import Dialect, guess_dialect
from pipeline.intake.grid import Span
from pipeline.intake.limits import MEGABYTE, Limits
from pipeline.intake.mapping import SourceFile
from pipeline.intake.mapping_source_file import SUFFIXES
from pipeline.intake.received import received
from pipeline.intake.sheet import Record
from pipeline.intake.text_file import decode_content, text_records
from pipeline.intake.walls import read_behind_walls
from pipeline.intake.workbook import FIRST_SHEET
from shared.errors import InputFileError

LIMITS = Limits()
_WITH_SHEETS = ("xlsx", "ods")


@dataclass(frozen=True, slots=True, kw_only=True)
class RawSheet:
    """One text file or sheet: where it is, how it is written, its records.

    `typed` cells may be real numbers and dates; hidden and merged are what a workbook draws.
    """

    path: Path
    sheet: str
    dialect: Dialect
    records: list[Record]
    typed: bool = False
    hidden: tuple[int, int] = (0, 0)
    merged: tuple[Span, ...] = ()


def read_raw(path: Path) -> list[RawSheet]:
    """Read a text file, or every sheet of a workbook that holds something.

    Raises
    ------
    InputFileError
        If the file is missing, empty, unreadable, an archive of files, or goes beyond limits.
    """
    name = path.name.lower().removesuffix(".gz")
    kind = SUFFIXES.get(Path(name).suffix, "text")
    if name.endswith(".zip"):
        raise InputFileError(
            str(path), "a draft is made from one file, not from an archive of files",
            do="Take the file out of it for the draft; then write path and member in the mapping.",
        )  # fmt: skip
    if kind in _WITH_SHEETS:
        return _sheets(path, kind)
    if kind == "text" and path.suffix.lower() != ".gz":
        with received(path.parent, path.name) as (_, handle):
            if path.stat().st_size > LIMITS.text_mb * MEGABYTE:
                raise InputFileError(
                    str(path), f"the file is larger than {LIMITS.text_mb} MB",
                    do="Draft the mapping from a part of it.",
                )  # fmt: skip
            return [_text(handle.read(), path)]
    answer, content = _behind_walls(path, kind)
    if answer["kind"] == "text":
        return [_text(content, path)]
    if answer["kind"] == "table":
        frame = pl.read_ipc(io.BytesIO(content))
        records: list[Record] = [tuple(frame.columns), *frame.rows()]
        return [RawSheet(path=path, sheet="", dialect=Dialect(), records=records, typed=True)]
    told = json.loads(content)
    return [RawSheet(path=path, sheet="", dialect=Dialect(), records=told["records"], typed=True)]


def _text(content: bytes, path: Path) -> RawSheet:
    dialect = guess_dialect(content, path)
    source = SourceFile(
        name=path.stem, path=path.name, encoding=dialect.encoding, delimiter=dialect.delimiter,
        quote=dialect.quote,
    )  # fmt: skip
    records = text_records(decode_content(content, path, dialect.encoding), path, source)
    return RawSheet(path=path, sheet="", dialect=dialect, records=list(records))


def _sheets(path: Path, kind: str) -> list[RawSheet]:
    """Read the first sheet, which tells the names of the others, then these."""
    _, content = _behind_walls(path, kind, sheet=FIRST_SHEET)
    first: dict[str, Any] = json.loads(content)
    told = [first]
    for name in first["others"]:
        told.append(json.loads(_behind_walls(path, kind, sheet=name)[1]))
    return [
        RawSheet(
            path=path, sheet=item["sheet"], dialect=Dialect(), records=item["records"], typed=True,
            hidden=(len(item["hidden_rows"]), len(item["hidden_columns"])),
            merged=tuple((a, b, c, d) for a, b, c, d in item["merged"]),
        )
        for item in told if any(any(record) for record in item["records"])
    ]  # fmt: skip


def _behind_walls(path: Path, kind: str, *, sheet: str = "") -> tuple[dict[str, Any], bytes]:
    archive = "gzip" if path.suffix.lower() == ".gz" else ""
    with received(path.parent, path.name) as (_, handle):
        request = {"where": str(path), "format": kind, "archive": archive, "member": "",
                   "sheet": sheet}  # fmt: skip
        return read_behind_walls(handle, request, LIMITS)
