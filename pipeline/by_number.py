"""One value per number out of many rows: rows that know their number need no sorting or hashing.

Stifles and animals go by numbers from 0 on, so that the place of a value is known beforehand.
Days and small numbers are put in four bytes: most of the time goes into memory not touched before.
"""

import numpy as np
import numpy.typing as npt
import polars as pl
import pyarrow as pa

FEW = 4  # rows for less than a quarter of the numbers are put in place, not looked for
Numbers = npt.NDArray[np.int32 | np.uint32]


def greatest(numbers: pl.Series, values: pl.Series, height: int) -> pl.Series:
    """Give the greatest value of each number; null where all are blank or there is none."""
    return _extreme(numbers, values, height, least=False)


def least(numbers: pl.Series, values: pl.Series, height: int) -> pl.Series:
    """Give the least value of each number; null where all are blank or there is none."""
    return _extreme(numbers, values, height, least=True)


def marked(numbers: pl.Series, height: int) -> pl.Series:
    """Mark the numbers that are in a list."""
    marks = np.zeros(height, dtype=np.bool_)
    marks[numbers.to_numpy()] = True
    return pl.Series(marks)


def places(numbers: pl.Series, height: int) -> pl.Series:
    """Give the row of each number; null where there is none. Rows without a number stay apart."""
    found, known = np.zeros(height, dtype=np.uint32), np.zeros(height, dtype=np.bool_)
    numbered = numbers.is_not_null().arg_true()
    at = numbers.gather(numbered).to_numpy()
    found[at], known[at] = numbered.to_numpy(), True
    return _with_blanks(found, known)


def placed(frame: pl.DataFrame, numbers: pl.Series, height: int) -> pl.DataFrame:
    """Give a row per number, in their order: the row of the frame that has it, else blanks.

    Parameters
    ----------
    frame
        At most one row per number.
    numbers
        The number of each row; null for a row that belongs to none.
    height
        How many numbers there are.
    """
    in_order = numbers.null_count() == 0 and frame.height == height
    if in_order and (numbers == pl.int_range(height, eager=True)).all():
        return frame
    if frame.height * FEW < height:
        numbered = numbers.is_not_null()
        known, at = frame.filter(numbered), numbers.filter(numbered)
        return pl.DataFrame([put(column, at, height) for column in known])
    return at_rows(frame, places(numbers, height))


def put(values: pl.Series, numbers: pl.Series, height: int) -> pl.Series:
    """Put each value at its number; null where there is none."""
    blank = pl.repeat(None, height, dtype=values.dtype, eager=True).alias(values.name)
    return blank if values.null_count() == len(values) else blank.scatter(numbers, values)


def at_rows(frame: pl.DataFrame, rows: pl.Series) -> pl.DataFrame:
    """Give these rows of a frame; a column without any value is not looked through."""
    blank = [name for name in frame.columns if frame[name].null_count() == frame.height]
    # In one piece: texts in several would be looked for piece by piece.
    known = frame.drop(blank).rechunk()[rows]
    return known.select(
        pl.repeat(None, len(rows), dtype=kind).alias(name) if name in blank else name
        for name, kind in frame.schema.items()
    )  # fmt: skip


def _extreme(numbers: pl.Series, values: pl.Series, height: int, *, least: bool) -> pl.Series:
    limits = np.iinfo(np.int32)
    blank = limits.max if least else limits.min
    known = values.is_not_null()
    if not known.all():
        numbers, values = numbers.filter(known), values.filter(known)
    found = np.full(height, blank, dtype=np.int32)
    reduce = np.minimum if least else np.maximum
    reduce.at(found, numbers.to_numpy(), values.cast(pl.Int32).to_numpy())
    return _with_blanks(found, found != blank)


def _with_blanks(values: Numbers, known: npt.NDArray[np.bool_]) -> pl.Series:
    """Give a column of what is known of these values, which are not copied."""
    buffers = [pa.py_buffer(np.packbits(known, bitorder="little")), pa.py_buffer(values)]
    kind = pa.from_numpy_dtype(values.dtype)
    return pl.Series(pa.Array.from_buffers(kind, len(values), buffers))
