"""Rows under numbers: which joint every accepted row is about, and on which day of it."""

from collections.abc import Mapping
from dataclasses import dataclass

import duckdb
import numpy as np
import polars as pl

from pipeline.linked import Below
from pipeline.sql import fetch, run_sql, show

KEY = ("clinic_id", "local_stifle")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """What every row of stifles is for its joint.

    Attributes
    ----------
    frame
        The table `operations` of SQL with stifle_no: the joint's place in the order of stifle ids.
    index
        One row per joint, by stifle_no: stifle_id, animal_id, index_row, animal_row, animal_no.
    by_stifle_row
        For each row of stifles its row of `frame`; null where there is none.
    animal_ids
        For each row of animals: animal_id, animal_no, joined (the animal has several codes).
    """

    frame: pl.DataFrame
    index: pl.DataFrame
    by_stifle_row: pl.Series
    animal_ids: pl.DataFrame

    def at(self, stifle_rows: pl.Series, *columns: str) -> pl.DataFrame:
        """Give columns of `frame` at these rows of stifles; blank where there is none."""
        places = self.by_stifle_row.gather(stifle_rows)
        return self.frame.select(pl.col(columns).gather(places))

    def stifle_of(self, index_rows: pl.Series) -> pl.Series:
        """Give the number of the joint of these index operations."""
        return self.at(index_rows, "stifle_no").to_series()

    def by_index_row(self, below: Below) -> pl.DataFrame:
        """Give the rows of joints with index_row, the row of stifles of the index operation."""
        index_rows = self.index["index_row"].gather(below.stifle_no)
        return below.rows.with_columns(index_row=index_rows).drop_nulls("index_row")

    def names(self, stifle_no: pl.Series) -> tuple[pl.Series, pl.Series]:
        """Give stifle_id and animal_id of these joints."""
        return self.index["stifle_id"].gather(stifle_no), self.index["animal_id"].gather(stifle_no)

    def named_animals(self, animals: pl.DataFrame) -> pl.DataFrame:
        """Put the study's animal beside each code of a clinic."""
        return animals.select(
            self.animal_ids["animal_id"], *animals.columns, self.animal_ids["joined"]
        )


def numbered(tables: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Give the tables that name a joint, the rows of animals and stifles with their numbers."""
    return {name: tables[name] for name in ("clinics", "procedures")} | {
        "animals": tables["animals"].with_row_index("animal_row"),
        "stifles": tables["stifles"].with_row_index("stifle_row"),
    }


def number_rows(connection: duckdb.DuckDBPyConnection, tables: Mapping[str, pl.DataFrame]) -> Rows:
    """Name animals and joints, and number the joints in the order of their ids."""
    operations, ids = fetch(connection, "operations"), fetch(connection, "animal_ids")
    codes = tables["animals"].select(pl.format("{}:{}", "clinic_id", "local_animal")).to_series()
    animal_ids = ids.select(
        codes.gather(ids["animal_no"]).alias("animal_id"), "animal_no", "joined"
    )
    index = operations.filter(pl.col("kind") == "index").select(
        "index_row", "animal_row", "animal_no"
    )
    index = (
        index.with_columns(
            animal_id=animal_ids["animal_id"].gather(index["animal_row"]),
            side=tables["stifles"]["side"].gather(index["index_row"]),
        )
        .select(pl.format("{}:{}", "animal_id", "side").alias("stifle_id"), pl.exclude("side"))
        .sort("stifle_id")
    )
    number = _placed(index["index_row"], tables["stifles"].height)
    frame = operations.with_columns(stifle_no=number.gather(operations["index_row"]))
    return Rows(
        frame=frame, index=index, animal_ids=animal_ids,
        by_stifle_row=_placed(frame["stifle_row"], tables["stifles"].height),
    )  # fmt: skip


def child_rows(
    connection: duckdb.DuckDBPyConnection, children: Mapping[str, pl.DataFrame]
) -> dict[str, pl.Series]:
    """Give, for each row of the tables below the stifles, its row of stifles; null without one."""
    keys = pl.concat([frame.select(KEY) for frame in children.values()])
    show(connection, "children", keys.with_row_index("child_row"))
    joined = run_sql(connection, "child_rows")
    rows = np.full(keys.height, -1, dtype=np.int64)
    rows[joined["child_row"].to_numpy()] = joined["stifle_row"].to_numpy()
    every = pl.Series(rows)
    known = every.set(every < 0, None)
    ends = np.cumsum([frame.height for frame in children.values()])
    return {
        name: known.slice(int(end) - frame.height, frame.height)
        for (name, frame), end in zip(children.items(), ends, strict=True)
    }


def follow(
    table: pl.DataFrame, rows: Rows, stifle_rows: pl.Series, *, days: tuple[str, ...]
) -> Below:
    """Give a table below the stifles its joint and count its days from the index operation.

    Rows of an operation whose day is not known cannot be dated and are left out (the joint's
    outcomes are held); so are rows before day 0, which belong to an earlier operation.
    """
    at = rows.at(stifle_rows, "stifle_no", "day")
    first, *others = days
    day = table[first] + at["day"]
    keep = at["day"].is_not_null() & (day.is_null() | (day >= 0))
    counted = table.with_columns(
        day,
        *(pl.when(pl.col(name) + at["day"] >= 0).then(pl.col(name) + at["day"]).alias(name)
          for name in others),
    )  # fmt: skip
    return Below(rows=counted, stifle_no=at["stifle_no"].set(~keep, None))


def of_index(table: pl.DataFrame, rows: Rows, stifle_rows: pl.Series) -> Below:
    """Give a table its joint; only rows that describe an index operation are kept."""
    at = rows.at(stifle_rows, "stifle_no", "kind")
    of_another = (at["kind"] != "index").fill_null(value=True)
    return Below(rows=table, stifle_no=at["stifle_no"].set(of_another, None))


def _placed(rows: pl.Series, height: int) -> pl.Series:
    """Turn a list of rows round: the place in the list of each of `height` rows, null if none."""
    places = np.full(height, -1, dtype=np.int64)
    places[rows.to_numpy()] = np.arange(len(rows))
    found = pl.Series(places)
    return found.set(found < 0, None)
