"""One analysis asked of a table, and one row of its results."""

from typing import Any

import polars as pl

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from shared.estimate import results_frame

RELUX: dict[str, Any] = {
    "time": "relux_day", "event": "relux_state", "event_of_interest": "reluxation",
    "competing": ["death", "other_revision"], "censored": "censored",
}  # fmt: skip


def run(frame: pl.DataFrame, **asked: object) -> pl.DataFrame:
    return results_frame(run_analysis(frame, parse_analysis({"id": "x", **asked})).rows)


def only(results: pl.DataFrame, **wanted: str | float) -> dict[str, Any]:
    found = results.filter(pl.col(name) == value for name, value in wanted.items())
    assert len(found) == 1, found
    return found.row(0, named=True)
