"""study.duckdb: the accepted tables and the cohort for any SQL tool; a cache, never the record."""

from collections.abc import Mapping
from pathlib import Path

import duckdb
import polars as pl

from shared.files import replacing


def write_database(path: Path, tables: Mapping[str, pl.DataFrame], cohort: pl.DataFrame) -> None:
    """Build the database anew beside its place, then move it there.

    Parameters
    ----------
    path
        Where the file goes; an earlier one is replaced whole.
    tables
        Canonical tables by name, with animal_id and stifle_id.
    cohort
        The analysis table; it is stored as ``cohort``, with the view ``included``.
    """
    with replacing(path) as draft:
        draft.unlink()  # DuckDB refuses an empty file
        with duckdb.connect(str(draft)) as connection:
            connection.execute("SET python_enable_replacements = false")
            for name, frame in sorted({**tables, "cohort": cohort}.items()):
                connection.register("incoming", frame)
                connection.execute(f"CREATE TABLE {_quoted(name)} AS SELECT * FROM incoming")
                connection.unregister("incoming")
            connection.execute(
                "CREATE VIEW included AS SELECT * FROM cohort WHERE left_at IS NULL "
                "ORDER BY stifle_id"
            )


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
