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
    """Write a frame as Parquet, whole or not at all; same frame, same bytes."""
    with replacing(path) as draft:
        frame.write_parquet(draft, compression="zstd", statistics=False)


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
