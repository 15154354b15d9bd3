"""One row per animal from rows that repeat it."""

from collections.abc import Sequence

import polars as pl

from schemas.codebook import Variable
from schemas.rules.repeated import repeated

KEY = "local_animal"
PLACE = "sulca:place"


def fold_animals(rows: pl.DataFrame, variables: Sequence[Variable]) -> pl.DataFrame:
    """Keep the fullest row of each animal, and every row that says something else.

    An animal whose rows agree wherever they speak, one of them saying all that is known,
    becomes one row. Rows that contradict each other stay apart, one per distinct content, so
    that the rule on one species, breed and sex per animal sees them; so do rows that only
    together say everything, and rows without an animal code.
    """
    names = [item.name for item in variables if item.name not in (KEY, "clinic_id")]
    if rows.is_empty() or not names:
        return rows.unique(subset=[KEY], keep="first", maintain_order=True)
    if repeated(rows.select(KEY), [KEY]).is_empty():
        return rows
    again = rows[KEY].is_duplicated() & rows[KEY].is_not_null()
    said = (
        rows.select(KEY, *names)
        .with_row_index(PLACE)
        .filter(again)
        .unique(subset=[KEY, *names], keep="first", maintain_order=True)
    )
    differs = pl.col(KEY).is_duplicated()  # mostly all rows of an animal say the same
    kept = pl.concat([said.filter(~differs)[PLACE], _kept(said.filter(differs), names)])
    if kept.len() == again.sum():
        return rows
    place = pl.int_range(pl.len(), dtype=pl.UInt32)
    return rows.filter(~again | place.is_in(kept.implode()))


def _kept(said: pl.DataFrame, names: Sequence[str]) -> pl.Series:
    """Choose among the unlike rows of each animal the one that says all, or else keep them all."""
    filled = pl.sum_horizontal(pl.col(name).is_not_null() for name in names)
    known = pl.sum_horizontal(pl.col(name).drop_nulls().n_unique().over(KEY) > 0 for name in names)
    one_story = pl.all_horizontal(
        pl.col(name).drop_nulls().n_unique().over(KEY) <= 1 for name in names
    )
    counted = said.with_columns(
        filled.alias("sulca:filled"), known.alias("sulca:known"), one_story.alias("sulca:one")
    )
    full = pl.col("sulca:one") & (pl.col("sulca:filled").max().over(KEY) == pl.col("sulca:known"))
    named = counted.with_columns(full.alias("sulca:full"))
    folded = (
        named.filter(pl.col("sulca:full"))
        .sort(KEY, "sulca:filled", PLACE, descending=[False, True, False])
        .unique(subset=[KEY], keep="first", maintain_order=True)
    )
    return pl.concat([folded[PLACE], named.filter(~pl.col("sulca:full"))[PLACE]])


def doubts_of_folded(rows: pl.DataFrame, kept: pl.DataFrame) -> pl.DataFrame:
    """Give the rows that were folded into another, with the row_id they now stand for."""
    heirs = kept.unique(subset=[KEY], keep="first", maintain_order=True).select(KEY, "row_id")
    place = ["file", "sheet", "row", "block"]
    gone = rows.join(kept, on=place, how="anti", nulls_equal=True)
    return gone.join(heirs, on=KEY, how="inner", maintain_order="left")
