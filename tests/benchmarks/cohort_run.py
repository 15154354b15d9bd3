# ruff: noqa: T201 - its output is read by the benchmark
"""One timed piece of work of the benchmark of the cohort, in a process of its own."""

import json
import resource
import sys
import time
from pathlib import Path

import polars as pl

from pipeline.cohort import build_cohort
from pipeline.link import link
from pipeline.sql import open_database
from tests.benchmarks.big_cohort import big_tables
from tests.pipeline.invented import holds_of, study_of

MINIMAL = Path(__file__).with_name("minimal.sql")
Tables = dict[str, pl.DataFrame]


def minimal(tables: Tables) -> int:
    """Run the least query over the frames as they are."""
    with open_database(tables) as connection:
        return connection.sql(MINIMAL.read_text("utf-8")).pl().height


def cohort(tables: Tables) -> int:
    """Link and build the cohort; one stifle in 200 is held."""
    held = tables["stifles"].select("clinic_id", "local_stifle").gather_every(200)
    holds = holds_of(*((*key, "outcome:reluxation") for key in held.rows()))
    return build_cohort(link(tables, holds), study_of()).table.height


def main(work: str, stifles: int) -> None:
    tables = big_tables(stifles)
    start, used = time.perf_counter(), _used()
    rows = {"minimal": minimal, "cohort": cohort}[work](tables)
    wall, cpu = time.perf_counter() - start, _used() - used
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps({"rows": rows, "wall": wall, "cpu": cpu, "peak": peak}))


def _used() -> float:
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
