"""Writing whole files or none, fingerprints of what was read, and small tables as rows."""

import csv
import hashlib
import io
import os
import tempfile
from collections.abc import Generator, Mapping
from contextlib import contextmanager
from importlib.resources.abc import Traversable
from pathlib import Path

import polars as pl

from shared.errors import InputFileError
from shared.own_codes import own_codes
from shared.side_by_side import side_by_side

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

    Texts are quick to write as codes of a few words: a column that holds codes is handed over as
    it is, one of a single text as a code of one word. The file declares them as the text they are.
    """
    words = frame.with_columns(_one_word(frame))
    coded = words.with_columns(
        own_codes(words[name]) for name, dtype in frame.schema.items() if _is_coded(dtype)
    )
    with replacing(path) as draft:
        coded.write_parquet(
            draft, compression="zstd", compression_level=1, statistics=False,
            metadata=_declared_types(frame) if any(map(_is_coded, coded.dtypes)) else {},
        )  # fmt: skip


def write_tables(folder: Path, tables: Mapping[str, pl.DataFrame]) -> None:
    """Write each table as Parquet under its name, two at a time."""
    side_by_side(
        lambda name: write_parquet(folder / f"{name}.parquet", tables[name]), sorted(tables)
    )


def as_text(frame: pl.DataFrame) -> pl.DataFrame:
    """Give the columns that hold codes of words as the texts they stand for."""
    return frame.with_columns(
        _texts(frame[name]) for name, dtype in frame.schema.items() if _is_coded(dtype)
    )


def _texts(cells: pl.Series) -> pl.Series:
    if isinstance(cells.dtype, pl.Enum):  # each word is read once, which a cast does not
        return cells.dtype.categories.gather(cells.to_physical()).alias(cells.name)
    return cells.cast(pl.String)


def _is_coded(dtype: pl.DataType) -> bool:
    return isinstance(dtype, pl.Enum | pl.Categorical)


def _one_word(frame: pl.DataFrame) -> list[pl.Expr]:
    """Give the columns that hold one text throughout, or none, as a code of one word.

    Which these are is asked of the frame: as a series, such a column would take room for each cell.
    """
    if frame.is_empty() or pl.String not in frame.dtypes:
        return []
    text = pl.col(pl.String)
    one = frame.select(text.eq_missing(text.first()).all()).row(0, named=True)
    first = frame.select(text.first()).row(0, named=True)
    return [
        pl.lit(first[name], pl.Enum([first[name] or ""])).alias(name)
        for name, is_one in one.items() if is_one
    ]  # fmt: skip


def _declared_types(frame: pl.DataFrame) -> dict[str, str]:
    """Give what a Parquet file says of the types of its columns, for the readers of Arrow."""
    empty = io.BytesIO()
    as_text(frame.clear()).write_parquet(empty)
    empty.seek(0)
    return {ARROW_TYPES: pl.read_parquet_metadata(empty)[ARROW_TYPES]}


def write_csv(path: Path, frame: pl.DataFrame) -> None:
    """Write a frame as CSV (UTF-8, comma); text cells cannot run as spreadsheet formulas."""
    words = as_text(frame)
    text = [name for name, dtype in words.schema.items() if dtype == pl.String]
    safe = words.with_columns(
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
