"""Cells that stand for the nearest filled cell above them, where the mapping says so."""

import polars as pl

from pipeline.intake import grammar as read
from pipeline.intake.mapping import TableMapping
from pipeline.intake.sheet import ROW

_FROM = "sulca:from:"  # beside a filled-down column: the row its text stands in


def with_cells_above(rows: pl.DataFrame, table: TableMapping) -> pl.DataFrame:
    """Fill the declared columns of a sheet from above; conditions see them filled too."""
    filled: list[pl.Expr] = []
    for column in dict.fromkeys(name for names in _columns(table).values() for name in names):
        there = read.tidy(pl.col(column)).is_not_null()
        filled += [
            pl.when(there).then(column).forward_fill().alias(column),
            pl.when(there).then(ROW).forward_fill().alias(_FROM + column),
        ]
    return rows.with_columns(filled)


def with_places_above(made: pl.DataFrame, rows: pl.DataFrame, table: TableMapping) -> pl.DataFrame:
    """Say of every value from above which row it stands in ("row:x", "file:x", "sheet:x")."""
    for name, columns in _columns(table).items():
        source = rows.select(pl.col(ROW).alias("row"), above=pl.max_horizontal(
            _FROM + column for column in columns))  # fmt: skip
        joined = made.join(source, on="row", how="left", maintain_order="left")
        elsewhere = pl.col("above").is_not_null() & (pl.col("above") != pl.col("row"))
        for marked in (name, "local_stifle") if name in ("local_animal", "side") else (name,):
            for part, here in (("file", "file"), ("sheet", "sheet"), ("row", "above")):
                place = f"{part}:{marked}"
                known = pl.col(place) if place in joined.columns else pl.lit(None)
                joined = joined.with_columns(
                    pl.when(elsewhere).then(here).otherwise(known).alias(place)
                )
        made = joined.drop("above")
    return made


def _columns(table: TableMapping) -> dict[str, tuple[str, ...]]:
    """Name the columns from above of each variable."""
    named = {
        name: tuple(column for item in sources if item.from_above for column in item.columns)
        for name, sources in table.columns.items()
    }
    return {name: columns for name, columns in named.items() if columns}
