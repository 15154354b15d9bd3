"""Rows found by the codes of their clinic: which row of another table each row is about."""

from collections.abc import Iterable, Mapping

import duckdb
import numpy as np
import polars as pl

from pipeline.sql import ask, show

ANIMAL = ("clinic_id", "local_animal")
STIFLE = ("clinic_id", "local_stifle")


def animals_of(
    connection: duckdb.DuckDBPyConnection, stifles: pl.DataFrame, animals: pl.DataFrame
) -> pl.Series:
    """Give, for each row of stifles, its row of animals; null without one."""
    return _rows_of(connection, [stifles.select(ANIMAL)], animals.select(ANIMAL))


def stifles_of(
    connection: duckdb.DuckDBPyConnection,
    children: Mapping[str, pl.DataFrame],
    stifles: pl.DataFrame,
) -> dict[str, pl.Series]:
    """Give, for each row of the tables below the stifles, its row of stifles; null without one."""
    known = stifles.select(STIFLE)
    asked = {name: frame.select(STIFLE) for name, frame in children.items()}
    # Operations mostly stand in the order of their stifles: then there is nothing to look up.
    found = {name: pl.int_range(keys.height, dtype=pl.UInt32, eager=True)
             for name, keys in asked.items() if keys.equals(known)}  # fmt: skip
    others = {name: keys for name, keys in asked.items() if name not in found}
    if not others:
        return found
    rows, start = _rows_of(connection, others.values(), known), 0
    for name, keys in others.items():
        found[name] = rows.slice(start, keys.height)
        start += keys.height
    return found


def put(values: pl.Series, rows: pl.Series, height: int) -> pl.Series:
    """Put each number at its row of a column of `height` rows; null where there is none."""
    placed = np.zeros(height, dtype=np.uint32)
    placed[rows.to_numpy()] = values.to_numpy()
    column = pl.Series(placed)
    if len(rows) == height:
        return column
    known = np.zeros(height, dtype=np.bool_)
    known[rows.to_numpy()] = True
    return column.set(~pl.Series(known), None)


def _rows_of(
    connection: duckdb.DuckDBPyConnection, asked: Iterable[pl.DataFrame], known: pl.DataFrame
) -> pl.Series:
    """Give, for each row of `asked`, the row of `known` with the same texts.

    Two hashes of 64 bits stand for the texts of a row: among the rows of any study, that others
    have both in common is not to be expected, and numbers are compared in half the time of texts.
    """
    marks: list[pl.DataFrame] = []
    height = 0
    for keys in asked:
        marks.append(_marks(keys, "asked_row", first=height))
        height += keys.height
    show(connection, "asked", pl.concat(marks))
    show(connection, "known", _marks(known, "known_row"))
    joined = ask(connection, "known_rows")
    return put(joined["known_row"], joined["asked_row"], height)


def _marks(keys: pl.DataFrame, row: str, *, first: int = 0) -> pl.DataFrame:
    hashed = {f"mark_{seed}": keys.hash_rows(seed=seed) for seed in (1, 2)}
    return pl.DataFrame(hashed).with_row_index(row, offset=first)


def at_rows(frame: pl.DataFrame, rows: pl.Series) -> pl.DataFrame:
    """Give these rows of a frame; a column without any value is not looked through."""
    return frame.select(
        pl.lit(None, kind).alias(name) if frame[name].null_count() == frame.height > 0
        else pl.col(name).gather(rows)
        for name, kind in frame.schema.items()
    )  # fmt: skip
