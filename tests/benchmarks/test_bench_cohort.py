"""Links and cohort of a million stifles beside the least query that could be called a cohort.

Three rechecks and 0.3 complications a stifle. ``minimal.sql`` knows the first reluxation and the
last adequate recheck; `link` and `build_cohort` give every outcome, the events, the counting form
and the flow. Both read the same frames. Prints processor and wall seconds, their ratios and the
peak of memory; asserts that both know the same stifles.
"""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.process import MEMORY_KEPT, ONE_THREAD

Publish = Callable[[pl.DataFrame, str, str], None]
RUNS = 3


@pytest.mark.parametrize("stifles", [100_000, 1_000_000])
def test_cohort_beside_the_least_query(stifles: int, publish: Publish) -> None:
    taken: dict[str, list[dict[str, float]]] = {"minimal": [], "cohort": []}
    for work in (*taken,) * RUNS:  # in turn: a machine is now and then slower for a while
        taken[work].append(_run(work, stifles))
    rows: list[dict[str, object]] = []
    best: dict[str, dict[str, float]] = {}
    for work, runs in taken.items():
        best[work] = {name: min(run[name] for run in runs) for name in ("cpu", "wall")}
        rows.append({"work": work, "stifles": stifles, "cpu s": best[work]["cpu"],
                     "wall s": best[work]["wall"],
                     "peak GiB": max(run["peak"] for run in runs) / 2**20})  # fmt: skip
    table = pl.DataFrame(rows).with_columns(
        **{f"{name} ratio": pl.lit([best[work][name] / best["minimal"][name] for work in taken])
           .explode() for name in ("cpu", "wall")}
    )  # fmt: skip
    publish(table, f"Links and cohort of {stifles} stifles", f"cohort_{stifles}.md")
    for runs in taken.values():
        assert len({run["rows"] for run in runs}) == 1
    assert taken["minimal"][0]["rows"] >= taken["cohort"][0]["rows"] > 0.98 * stifles


def _run(work: str, stifles: int) -> dict[str, float]:
    """Run a piece of work in a process of its own that was told what the command line is told."""
    script = Path(__file__).with_name("cohort_run.py")
    done = subprocess.run(
        [sys.executable, str(script), work, str(stifles)], check=True, capture_output=True,
        text=True, env={"_RJEM_MALLOC_CONF": MEMORY_KEPT, **os.environ, **ONE_THREAD},
    )  # fmt: skip
    return json.loads(done.stdout)
