"""A Parquet file as text: every plain column as it would be typed, dates as ISO."""

import io
from typing import IO

import polars as pl

from pipeline.intake.limits import Limits
from shared.errors import InputFileError

DATE_TEXT = "%Y-%m-%d 00:00:00"
MOMENT_TEXT = "%Y-%m-%d %H:%M:%S"


def read_parquet(handle: IO[bytes], *, where: str, limits: Limits) -> bytes:
    """Read all rows as text columns, in the form of Arrow's interprocess format.

    Raises
    ------
    InputFileError
        If it is no Parquet file, is too large, or holds columns that are no plain values.
    """
    try:
        lazy = pl.scan_parquet(io.BytesIO(handle.read()))
        schema = lazy.collect_schema()
        height = lazy.select(pl.len()).collect().item()
        if len(schema) > limits.columns or height * len(schema) > limits.cells * 5:
            raise _refused(where, f"it holds {height} rows of {len(schema)} columns, too many")
        frame = lazy.select(_as_text(where, name, kind) for name, kind in schema.items()).collect()
    except (InputFileError, MemoryError, KeyboardInterrupt):
        raise
    except BaseException:  # the reader's own panics are no ordinary exceptions
        raise _refused(where, "it cannot be read as Parquet") from None
    answer = io.BytesIO()
    frame.write_ipc(answer)
    return answer.getvalue()


def _as_text(where: str, name: str, kind: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if kind == pl.Date:
        return column.dt.strftime(DATE_TEXT)
    if isinstance(kind, pl.Datetime):
        return column.dt.strftime(MOMENT_TEXT)
    if kind == pl.Time:
        return column.dt.strftime("%H:%M:%S")
    if isinstance(kind, pl.Binary | pl.Object | pl.Duration) or kind.is_nested():
        raise _refused(where, f'the column "{name}" holds no plain values ({kind})')
    return column.cast(pl.String)


def _refused(where: str, what: str) -> InputFileError:
    return InputFileError(
        where, what, do="Ask the clinic to export plain columns of text, numbers and dates."
    )
