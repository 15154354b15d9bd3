"""Rows that stand twice, found quickly: equal hashes first, then the few rows they name."""

import operator
from collections.abc import Sequence
from functools import reduce

import polars as pl

FIRST_LOOK = 1_000


def repeated(frame: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """Give the rows that have another row equal in these columns, in their order; blanks agree.

    Rows in rising order stand alone. The hashes only leave out what certainly stands alone;
    equality decides.
    """
    if frame.height < 2 or _rising(frame, columns):
        return frame.clear()
    hashes = (pl.col(name).hash(seed=seed) for seed, name in enumerate(columns))
    hashed = frame.select(reduce(operator.xor, hashes)).to_series()
    if hashed.n_unique() == hashed.len():  # mostly none stands twice, and this tells it quickly
        return frame.clear()
    return frame.filter(hashed.is_duplicated()).filter(pl.struct(columns).is_duplicated())


def _rising(frame: pl.DataFrame, columns: Sequence[str]) -> bool:
    """Be true where each row comes after the one above, by the first column that differs."""
    later = pl.lit(value=False)
    for name in reversed(columns):
        here, above = pl.col(name), pl.col(name).shift()
        later = (here > above) | ((here == above) & later)
    return all(
        rows.select(later.sum()).item() == rows.height - 1
        for rows in (frame.head(FIRST_LOOK), frame)
    )
