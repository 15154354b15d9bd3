"""Equal cells are read once: what is made of each distinct text is spread over its rows."""

from collections.abc import Sequence

import polars as pl

PLACE = "sulca:distinct"
WORTH = 4  # rows that a distinct text must stand in, on average, to be worth it
TRIED = 10_000  # first rows, by which columns with a text of its own in nearly every row are known
NEARLY = 0.9


def distinct_rows(rows: pl.DataFrame, columns: Sequence[str]
                  ) -> tuple[pl.DataFrame, pl.Series] | None:  # fmt: skip
    """Give the distinct rows of these columns, and for each row the place of its own.

    None where they are so many that nothing is gained.
    """
    names = list(dict.fromkeys(columns))
    cells = rows.select(names)
    if is_mostly_distinct(cells):
        return None
    distinct = cells.unique(maintain_order=True)
    if distinct.height * WORTH > cells.height:
        return None
    places = cells.join(
        distinct.with_row_index(PLACE), on=names, how="left", nulls_equal=True,
        maintain_order="left",
    )[PLACE]  # fmt: skip
    return distinct, places


def is_mostly_distinct(cells: pl.DataFrame | pl.Series) -> bool:
    """Tell a long column with a text of its own in nearly every one of its first rows."""
    return len(cells) >= TRIED and cells.head(TRIED).n_unique() > NEARLY * TRIED


def spread(made: pl.DataFrame, places: pl.Series) -> pl.DataFrame:
    """Put what was made of the distinct rows in the place of each row.

    A column that holds one value throughout takes no room.
    """
    if made.is_empty():
        return made
    same = [name for name in made.columns if made[name].n_unique() == 1]
    return places.to_frame().with_columns(
        pl.lit(made[name][0], made.schema[name]).alias(name) if name in same
        else made[name].gather(places).alias(name)
        for name in made.columns
    ).select(made.columns)  # fmt: skip


def without_room(made: pl.DataFrame) -> pl.DataFrame:
    """Let columns that hold nothing take no room."""
    blank = [name for name in made.columns if made[name].null_count() == made.height]
    return made.with_columns(pl.lit(None, made.schema[name]).alias(name) for name in blank)
