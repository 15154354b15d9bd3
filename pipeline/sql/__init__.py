"""Run the SQL of this folder: one statement a file, the file's name is the table it makes.

Inside the database rows are known by number: a joint by its place in the order of stifle ids
(`stifle_no`), an animal by its row. Texts are compared once, where rows of one key are joined.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

import duckdb
import polars as pl
import pyarrow as pa

from pipeline.database import connect, quoted

ROWS_AT_A_TIME = 122_880


@cache
def _engine() -> duckdb.DuckDBPyConnection:
    """Give the database in memory that all connections share: to start one takes longer."""
    return connect()


def open_database(tables: Mapping[str, pl.DataFrame]) -> duckdb.DuckDBPyConnection:
    """Open a database in memory that sees these frames and nothing else: no file, no variable.

    What is made in it is its own (TEMP), and gone when it is closed.
    """
    connection = _engine().cursor()
    for name, frame in tables.items():
        show(connection, name, frame)
    return connection


def show(connection: duckdb.DuckDBPyConnection, name: str, frame: pl.DataFrame) -> None:
    """Let later statements read a frame; handed over as it lies in memory, no text is copied.

    Codes of words are read as the texts they stand for, and compared and ordered as those are.
    In parts of a size of which each thread can take one after another.
    """
    whole = frame.to_arrow(compat_level=pl.CompatLevel.newest())
    parts = whole.to_batches(max_chunksize=ROWS_AT_A_TIME)
    connection.register(name, pa.Table.from_batches(parts, schema=whole.schema))


def statement(name: str) -> str:
    """Read the statement that makes the table `name`."""
    return (files("pipeline.sql") / f"{name}.sql").read_text("utf-8")


def statement_of_chain(names: Sequence[str], columns: Sequence[str]) -> str:
    """Make one statement of several, each a part of the last, and of that the columns asked for."""
    *before, last = names
    # Each is bound once; as views over views they would be bound again for every one after them.
    parts = [f"{quoted(step)} AS NOT MATERIALIZED (\n{statement(step)})" for step in before]
    asked = ", ".join(quoted(column) for column in columns)
    return f"WITH {', '.join(parts)} SELECT {asked} FROM (\n{statement(last)})"


def declare(connection: duckdb.DuckDBPyConnection, name: str) -> None:
    """Declare a type or a formula that several statements share."""
    connection.execute(statement(name))


def declare_words(connection: duckdb.DuckDBPyConnection, words: Mapping[str, pl.Enum]) -> None:
    """Declare types of the words that statements give as codes."""
    for name, kind in words.items():
        connection.execute(
            f"CREATE TEMP TYPE {quoted(name)} AS ENUM (SELECT unnest($words))",
            {"words": kind.categories.to_list()},
        )


def with_words(made: pl.DataFrame, words: Mapping[str, pl.Enum]) -> pl.DataFrame:
    """Give codes the words that they stand for."""
    return made.with_columns(pl.col(name).cat.to(kind) for name, kind in words.items())


def make_table(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    parameters: Mapping[str, Any] | None = None,
) -> None:
    """Make the table `name` inside the database, for the statements after it."""
    connection.execute(
        f"CREATE TEMP TABLE {quoted(name)} AS {statement(name)}", dict(parameters or {})
    )


def fetch(connection: duckdb.DuckDBPyConnection, name: str) -> pl.DataFrame:
    """Give a table made before, its rows in the order in which they were made."""
    return connection.sql(f"SELECT * FROM {quoted(name)}").pl()


def run_sql(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    parameters: Mapping[str, Any] | None = None,
) -> pl.DataFrame:
    """Make the table `name` and give it back."""
    make_table(connection, name, parameters)
    return fetch(connection, name)


def ask(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    parameters: Mapping[str, Any] | None = None,
) -> pl.DataFrame:
    """Give what a statement makes without keeping it in the database."""
    return connection.sql(statement(name), params=dict(parameters or {})).pl()


def run_chain(
    connection: duckdb.DuckDBPyConnection,
    names: Sequence[str],
    columns: Sequence[str],
    parameters: Mapping[str, Any],
) -> pl.DataFrame:
    """Run statements that each read the one before them as one, and give columns of the last.

    No table is made on the way: every row passes through all of them at once.
    """
    return connection.sql(statement_of_chain(names, columns), params=dict(parameters)).pl()
