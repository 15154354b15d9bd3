"""One value per number out of many rows: rows that know their number need no sorting or hashing.

Stifles and animals go by numbers from 0 on, so that the place of a value is known beforehand.
"""

import numpy as np
import polars as pl


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
    found = np.full(height, -1, dtype=np.int64)
    known = numbers.is_not_null().arg_true()
    found[numbers.gather(known).to_numpy()] = known.to_numpy()
    rows = pl.Series(found)
    return rows.set(rows < 0, None)


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
    rows = places(numbers, height)
    blank = [name for name in frame.columns if frame[name].null_count() == frame.height]
    # In one piece: texts in several would be looked for piece by piece.
    known = frame.drop(blank).rechunk().select(pl.all().gather(rows))
    return known.select(
        pl.repeat(None, height, dtype=kind).alias(name) if name in blank else name
        for name, kind in frame.schema.items()
    )  # fmt: skip


def _extreme(numbers: pl.Series, values: pl.Series, height: int, *, least: bool) -> pl.Series:
    limits = np.iinfo(np.int64)
    blank = limits.max if least else limits.min
    known = values.is_not_null()
    if not known.all():
        numbers, values = numbers.filter(known), values.filter(known)
    found = np.full(height, blank, dtype=np.int64)
    reduce = np.minimum if least else np.maximum
    reduce.at(found, numbers.to_numpy(), values.cast(pl.Int64).to_numpy())
    extreme = pl.Series(found)
    return extreme.set(extreme == blank, None)
