"""Run the SQL of this folder: one statement a file, the file's name is the table it makes."""

from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import duckdb
import polars as pl

from pipeline.database import connect


def open_database(tables: Mapping[str, pl.DataFrame]) -> duckdb.DuckDBPyConnection:
    """Open a database in memory that sees these frames and nothing else: no file, no variable."""
    connection = connect()
    for name, frame in tables.items():
        connection.register(name, frame)
    return connection


def statement(name: str) -> str:
    """Read the statement that makes the table `name`."""
    return (files("pipeline.sql") / f"{name}.sql").read_text("utf-8")


def make_macro(connection: duckdb.DuckDBPyConnection, name: str) -> None:
    """Declare a formula that several statements share."""
    connection.execute(statement(name))


def run_sql(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    parameters: Mapping[str, Any] | None = None,
) -> pl.DataFrame:
    """Make the table `name`, give it back, and let later statements read it by that name."""
    made = connection.sql(statement(name), params=dict(parameters or {})).pl()
    connection.register(name, made)
    return made
