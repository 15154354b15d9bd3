"""Columns of codes anew, by the words that stand in them: a file would keep all others too.

Those of emptied cells may be what nobody should read, and the codes of a Categorical depend on all
that the process has read. The words keep the order of their codes; of a Categorical, that of their
texts.
"""

import numpy as np
import polars as pl

FIRST_ROWS = 1 << 16
FEW = 16  # words that one by one are looked for sooner than all cells are sorted into words


def own_codes(cells: pl.Series) -> pl.Series:
    """Code a column by its own words; one that holds all of its words stays as it is."""
    codes = cells.to_physical()
    if isinstance(cells.dtype, pl.Enum):
        held = _held(codes, len(cells.dtype.categories))
        if len(held) == len(cells.dtype.categories):
            return cells
        texts = cells.dtype.categories.gather(held)
    else:
        held = _of_runs(codes)
        texts = held.cat.to(cells.dtype).cast(pl.String)
        held, texts = held.gather(texts.arg_sort()), texts.sort()
    return _recoded(codes, held, pl.Enum(texts)).alias(cells.name)


def _held(codes: pl.Series, n_words: int) -> pl.Series:
    """Give the codes that stand in some cell; mostly the first rows have them all."""
    if codes.null_count() == codes.len():
        return codes.clear()
    held = codes.head(FIRST_ROWS).drop_nulls().unique().sort()
    others = np.setdiff1d(np.arange(n_words), held.to_numpy())
    if len(others) > FEW:
        return codes.drop_nulls().unique().sort()
    also = [code for code in others.tolist() if (codes == code).any()]
    return pl.concat([held, pl.Series(also, dtype=codes.dtype)]).sort() if also else held


def _of_runs(codes: pl.Series) -> pl.Series:
    """Give the codes that stand in some cell of a column in which they mostly stand in runs."""
    if codes.min() == codes.max():
        return codes.drop_nulls().head(1)
    return codes.filter(codes.ne_missing(codes.shift())).drop_nulls().unique()


def _recoded(codes: pl.Series, held: pl.Series, own: pl.Enum) -> pl.Series:
    """Give each cell the place of its code among those held."""
    places = np.arange(held.len(), dtype=np.uint32)
    if not held.equals(pl.Series(places).cast(held.dtype)):
        numbers = np.zeros(_size(held), dtype=np.uint32)
        numbers[held.to_numpy()] = places
        codes = pl.Series(numbers).cast(_width(own)).gather(codes)
    return codes.cast(_width(own)).cat.to(own)


def _size(codes: pl.Series) -> int:
    highest = codes.max()
    return highest + 1 if isinstance(highest, int) else 0


def _width(own: pl.Enum) -> pl.DataType:
    return pl.Series(dtype=own).to_physical().dtype
