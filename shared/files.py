"""Writing whole files or none, fingerprints of what was read, and small tables as rows."""

import csv
import hashlib
import io
import os
import tempfile
from collections.abc import Generator
from contextlib import contextmanager
from importlib.resources.abc import Traversable
from pathlib import Path

import polars as pl

from shared.errors import InputFileError

ARROW_TYPES = "ARROW:schema"  # the key under which a Parquet file declares them


@contextmanager
def replacing(path: Path) -> Generator[Path]:
    """Give a temporary path beside `path`, and move it there only if all went well."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=path.suffix)
    os.close(handle)
    draft = Path(name)
    try:
        yield draft
        draft.chmod(0o644)
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


def write_bytes(path: Path, content: bytes) -> None:
    """Write bytes whole or not at all."""
    with replacing(path) as draft:
        draft.write_bytes(content)


def write_text(path: Path, content: str) -> None:
    """Write text as UTF-8 with line feeds, whole or not at all."""
    write_bytes(path, content.encode("utf-8"))


def write_parquet(path: Path, frame: pl.DataFrame) -> None:
    """Write a frame as Parquet, whole or not at all; same frame, same bytes.

    A column of one text is handed over as a code of one word, which is quick to write; the file
    declares it as the text it is.
    """
    coded = frame.with_columns(_one_word(cells) for cells in frame.iter_columns())
    with replacing(path) as draft:
        coded.write_parquet(
            draft, compression="zstd", compression_level=1, statistics=False,
            metadata={} if coded.schema == frame.schema else _declared_types(frame),
        )  # fmt: skip


def _one_word(cells: pl.Series) -> pl.Series:
    """Give a column that holds one text throughout, or none, as a code of one word."""
    if cells.dtype != pl.String or not cells.len():
        return cells
    blank = cells.null_count() == cells.len()
    first = None if blank else cells[0]
    if not blank and (first is None or cells.null_count() or not (cells == first).all()):
        return cells
    word = pl.Series(cells.name, [first], dtype=pl.Enum([first or ""]))
    return word.new_from_index(0, cells.len())


def _declared_types(frame: pl.DataFrame) -> dict[str, str]:
    """Give what a Parquet file says of the types of its columns, for the readers of Arrow."""
    empty = io.BytesIO()
    frame.clear().write_parquet(empty)
    empty.seek(0)
    return {ARROW_TYPES: pl.read_parquet_metadata(empty)[ARROW_TYPES]}


def write_csv(path: Path, frame: pl.DataFrame) -> None:
    """Write a frame as CSV (UTF-8, comma); text cells cannot run as spreadsheet formulas."""
    text = [name for name, dtype in frame.schema.items() if dtype == pl.String]
    safe = frame.with_columns(
        pl.when(pl.col(name).str.contains(r"^[=+\-@\t\r]"))
        .then("'" + pl.col(name))
        .otherwise(pl.col(name))
        .alias(name)
        for name in text
    )
    with replacing(path) as draft:
        safe.write_csv(draft)


def fingerprint(path: Path) -> str:
    """SHA-256 of a file's bytes, as hexadecimal text."""
    digest = hashlib.sha256()
    with path.open("rb") as handle:
        while block := handle.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def fingerprint_text(text: str) -> str:
    """SHA-256 of a text's UTF-8 bytes, as hexadecimal text."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def declared_rows(table: Traversable) -> list[dict[str, str]]:
    """Read a CSV file that comes with the program."""
    return list(csv.DictReader(table.read_text("utf-8").splitlines()))


def edited_rows(path: Path) -> "csv.DictReader[str]":
    """Read a CSV file that people write: UTF-8, with or without a byte-order mark.

    Raises
    ------
    InputFileError
        If it is no UTF-8 text.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputFileError(str(path), "no UTF-8 text", do="Save it as CSV UTF-8.") from error
    return csv.DictReader(io.StringIO(text, newline=""))
