"""Columns of text that hold each text once, and of each cell its code.

The cells of an export are few texts, many times over. As `pl.Enum` of its own texts a column takes
one or two bytes a cell, and what is done to a text is done once. Text functions need `as_text`;
mind that `fill_null` and `coalesce` give null for a text that is none of the column's own.
"""

from collections.abc import Sequence

import polars as pl

from shared.side_by_side import side_by_side

SAMPLE = 10_000  # cells, by which columns with a text of their own in nearly every cell are known
NEARLY = 0.9
MOST_TEXTS = (1 << 16) - 1  # codes of two bytes


def coded(rows: pl.DataFrame) -> pl.DataFrame:
    """Code every text column of which the texts repeat."""
    return pl.DataFrame(side_by_side(
        lambda column: coded_column(column) if column.dtype == pl.String else column, rows,
    ))  # fmt: skip


def coded_column(texts: pl.Series) -> pl.Series:
    """Code a column by its texts in the order in which they come, or leave it as it is."""
    sample = texts.gather_every(max(1, texts.len() // SAMPLE))
    if texts.len() >= SAMPLE and sample.n_unique() > NEARLY * sample.len():
        return texts
    words = texts.cast(pl.Categorical(pl.Categories.random()))  # a dictionary that holds no others
    number = words.to_physical()
    highest = number.max()
    count = 1 + highest if isinstance(highest, int) else 0
    if count > MOST_TEXTS:
        return texts
    own = pl.int_range(count, dtype=pl.UInt32, eager=True).cat.to(words.dtype).cast(pl.String)
    width = pl.UInt8 if count < 1 << 8 else pl.UInt16
    return number.cast(width).cat.to(pl.Enum(own))


def coded_again(cells: pl.Series) -> pl.Series:
    """Forget the texts of a coded column that stand in none of its cells any more."""
    return coded_column(cells.cast(pl.String)) if is_coded(cells) else cells


def is_coded(cells: pl.Series) -> bool:
    """Tell a column of codes from one of texts."""
    return isinstance(cells.dtype, pl.Enum)


def own_texts(cells: pl.Series) -> pl.Series:
    """Give the texts of a coded column, each once; of another all its cells."""
    return cells.dtype.categories if isinstance(cells.dtype, pl.Enum) else cells


def as_text(rows: pl.DataFrame) -> pl.DataFrame:
    """Write coded columns as text."""
    return rows.with_columns(
        column.cast(pl.String) for column in rows.iter_columns() if is_coded(column)
    )


def one_type(parts: Sequence[pl.DataFrame]) -> list[pl.DataFrame]:
    """Make frames of the same columns ready to stand one below the other.

    A column that is coded otherwise in another frame becomes text.
    """
    types = [part.schema for part in parts]  # asked for once: all their texts are told with it
    unlike = [
        name for name, dtype in (types[0] if types else {}).items()
        if isinstance(dtype, pl.Enum | pl.String) and any(other[name] != dtype for other in types)
    ]  # fmt: skip
    return [part.with_columns(pl.col(unlike).cast(pl.String)) for part in parts]
