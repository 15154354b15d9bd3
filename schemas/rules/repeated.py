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
    if frame.height < 2:
        return frame.clear()
    unlike = [name for name in columns if not _one_value(frame[name])] or list(columns[:1])
    if _rising(frame, unlike):
        return frame.clear()
    hashes = (pl.col(name).hash(seed=seed) for seed, name in enumerate(unlike))
    hashed = frame.select(reduce(operator.xor, hashes)).to_series()
    if hashed.n_unique() == hashed.len():  # mostly none stands twice, and this tells it quickly
        return frame.clear()
    return frame.filter(hashed.is_duplicated()).filter(pl.struct(unlike).is_duplicated())


def _one_value(values: pl.Series) -> bool:
    """Be true of a column that tells no rows apart; mostly that of the clinic."""
    return not values.null_count() and all(
        (part == values[0]).all() for part in (values.head(FIRST_LOOK), values)
    )


def _rising(frame: pl.DataFrame, columns: Sequence[str]) -> bool:
    """Be true where each row comes after the one above, by the first column that differs."""
    return all(
        _in_order([part[name] for name in columns]) for part in (frame.head(FIRST_LOOK), frame)
    )


def _in_order(values: Sequence[pl.Series]) -> bool:
    later: pl.Series | None = None
    for each in reversed(values):
        here, above = each[1:], each[:-1]  # no copy is made of them
        after = here > above
        later = after if later is None else after | ((here == above) & later)
    return later is not None and later.sum() == later.len()
