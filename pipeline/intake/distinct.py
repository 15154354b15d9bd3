"""Equal cells are read once: what is made of each distinct text is spread over its rows."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.intake.coded import as_text, coded_again, is_coded, own_texts

PLACE = "sulca:distinct"
AS_RECEIVED = "raw"  # see cells.py
RUN = 2  # the same of rows that follow each other
WORTH = 4  # rows that a distinct text must stand in, on average, to be worth it
TRIED = 10_000  # first rows, by which columns with a text of its own in nearly every row are known
NEARLY = 0.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Distinct:
    """The distinct rows of some columns.

    Attributes
    ----------
    rows
        Each row once, as text; a few may still stand twice where that is cheaper.
    places
        For each row of `cells` the place of its own in `rows`.
    cells
        All rows, as text or coded.
    """

    rows: pl.DataFrame
    places: pl.Series
    cells: pl.DataFrame


def distinct_rows(rows: pl.DataFrame, columns: Sequence[str]) -> Distinct | None:
    """Give the distinct rows of these columns; None where so many that nothing is gained."""
    cells = rows.select(list(dict.fromkeys(columns)))
    if cells.width == 1 and is_coded(cells.to_series()):
        return _of_codes(cells.to_series())
    if is_mostly_distinct(cells):
        return None
    runs = _runs(cells)
    if runs is None:
        return _unlike(cells)
    unlike = None if is_mostly_distinct(runs.rows) else _unlike(runs.rows)
    if unlike is None:
        return runs
    return Distinct(rows=unlike.rows, places=unlike.places.gather(runs.places), cells=cells)


def _of_codes(column: pl.Series) -> Distinct:
    """Take the codes of a column for the places of its texts; below them stands a blank."""
    if len(own_texts(column)) > column.len():
        column = coded_again(column)  # a few rows of a long sheet
    texts = own_texts(column)
    places = column.to_physical().cast(pl.UInt32).rename(PLACE)
    if column.null_count():
        places = places.fill_null(texts.len())
        texts = pl.concat([texts, pl.Series([None], dtype=pl.String)])
    return Distinct(
        rows=texts.to_frame(column.name), places=places, cells=column.to_frame(),
    )  # fmt: skip


def _runs(cells: pl.DataFrame) -> Distinct | None:
    """Take equal rows that follow each other together."""
    if not cells.height or not _often_equal(_changes(cells.head(TRIED))):
        return None
    changes = _changes(cells)
    if not _often_equal(changes):
        return None
    changes[0] = True  # a blank cell is like the nothing before it
    places = (changes.cum_sum() - 1).rename(PLACE)
    return Distinct(rows=as_text(cells.filter(changes)), places=places, cells=cells)


def _changes(cells: pl.DataFrame) -> pl.Series:
    """Tell which rows differ from the one above."""
    return cells.select(
        pl.any_horizontal(pl.col(name).ne_missing(pl.col(name).shift()) for name in cells.columns)
    ).to_series()


def _often_equal(changes: pl.Series) -> bool:
    return changes.sum() * RUN <= changes.len()


def _unlike(cells: pl.DataFrame) -> Distinct | None:
    if cells.width == 1 and cells.dtypes == [pl.String]:
        return _unlike_texts(cells)
    codes = cells.select(pl.col(pl.Enum).to_physical(), pl.exclude(pl.Enum))
    distinct = codes.with_row_index(PLACE).unique(codes.columns, keep="first", maintain_order=True)
    if distinct.height * WORTH > cells.height:
        return None
    rows = as_text(cells.select(pl.all().gather(distinct[PLACE])))
    places = codes.join(
        distinct.drop(PLACE).with_row_index(PLACE), on=codes.columns, how="left",
        nulls_equal=True, maintain_order="left",
    )[PLACE]  # fmt: skip
    return Distinct(rows=rows, places=places, cells=cells)


def _unlike_texts(cells: pl.DataFrame) -> Distinct | None:
    """Find the distinct texts with a dictionary of their own; each cell is looked up once."""
    text = cells.to_series()
    number = _numbers(text)
    blank = 1 + int(number.max() or 0)  # type: ignore[arg-type]
    firsts = number.arg_unique()
    if firsts.len() * WORTH > text.len():
        return None
    numbers = number.fill_null(blank).to_numpy()
    place = np.zeros(blank + 1, dtype=np.uint32)
    place[numbers[firsts.to_numpy()]] = np.arange(firsts.len(), dtype=np.uint32)
    return Distinct(
        rows=cells.select(pl.all().gather(firsts)), places=pl.Series(PLACE, place[numbers]),
        cells=cells,
    )  # fmt: skip


def distinct_texts(texts: pl.Series) -> pl.Series:
    """Give each text once, in the order in which they come; all where that gains nothing.

    Equal texts that follow each other are made one first.
    """
    if is_coded(texts):
        return texts.unique(maintain_order=True).cast(pl.String)
    if is_mostly_distinct(texts):
        return texts
    runs = _runs(texts.to_frame())
    once = texts if runs is None else runs.rows.to_series()
    return once if is_mostly_distinct(once) else once.gather(_numbers(once).arg_unique())


def _numbers(texts: pl.Series) -> pl.Series:
    """Give equal texts equal numbers, which are small: the dictionary holds no others."""
    return texts.cast(pl.Categorical(pl.Categories.random())).to_physical()


def is_mostly_distinct(cells: pl.DataFrame | pl.Series) -> bool:
    """Tell a long column with a text of its own in nearly every one of its first rows."""
    return len(cells) >= TRIED and cells.head(TRIED).n_unique() > NEARLY * TRIED


def spread(made: pl.DataFrame, distinct: Distinct) -> pl.DataFrame:
    """Put what was made of the distinct rows in the place of each row.

    A column that holds one value throughout takes no room, nor does one that is a column read; of
    a coded one its codes stand for the text as received.
    """
    if made.is_empty():
        return made
    every = distinct.places.to_frame().with_columns(
        _spread_column(cells, distinct) for cells in made.iter_columns()
    )
    return every.select(made.columns)


def _spread_column(made: pl.Series, distinct: Distinct) -> pl.Expr | pl.Series:
    blank = made.null_count()
    if blank == made.len() or (not blank and (made == made[0]).all()):
        return pl.lit(made[0], made.dtype).alias(made.name)
    for cells in distinct.cells.iter_columns():
        same = made.name == AS_RECEIVED or not is_coded(cells)
        if same and made.dtype == pl.String and made.equals(distinct.rows[cells.name]):
            return cells.alias(made.name)
    return made.gather(distinct.places)


def without_room(made: pl.DataFrame) -> pl.DataFrame:
    """Let columns that hold nothing take no room."""
    blank = [name for name in made.columns if made[name].null_count() == made.height]
    return made.with_columns(pl.lit(None, made.schema[name]).alias(name) for name in blank)
