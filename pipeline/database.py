"""The databases of the pipeline: closed in, and study.duckdb, a cache for any SQL tool.

A connection sees the frames it is given and nothing else: no other file, no extension, no Python
variable; and no statement can open it again.
"""

from collections.abc import Mapping
from pathlib import Path

import duckdb
import polars as pl

from shared.files import replacing

CLOSED: Mapping[str, str | bool] = {
    "enable_external_access": False,
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "allow_community_extensions": False,
    "allow_persistent_secrets": False,
    "python_enable_replacements": False,
    "lock_configuration": True,
}


def connect(path: Path | None = None) -> duckdb.DuckDBPyConnection:
    """Open a closed-in database in memory, or the one in the file `path`."""
    return duckdb.connect(str(path) if path else ":memory:", config=dict(CLOSED))


def quoted(name: str) -> str:
    """Write a name as SQL takes it: whatever it holds, it stays one name."""
    return '"' + name.replace('"', '""') + '"'


def write_database(path: Path, tables: Mapping[str, pl.DataFrame], cohort: pl.DataFrame) -> None:
    """Build the database anew beside its place, then move it there; codes become texts in it.

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
        with connect(draft) as connection:
            for name, frame in sorted({**tables, "cohort": cohort}.items()):
                connection.register("incoming", frame)
                connection.execute(f"CREATE TABLE {quoted(name)} AS SELECT * FROM incoming")
                connection.unregister("incoming")
            connection.execute(
                "CREATE VIEW included AS SELECT * FROM cohort WHERE left_at IS NULL "
                "ORDER BY stifle_id"
            )
