"""Both concordances of a Cox model through a plan."""

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from tests.analysis.r_values import r_values
from tests.pipeline.analyses.asked import only, run

PUBLISHED = Path(__file__).parents[3] / "shared" / "published"
COX: dict[str, Any] = {
    "model": "cox", "time": "time", "event": "event", "adjust_for": ["age", "sex", "wt.loss"],
}  # fmt: skip


@pytest.fixture(scope="module")
def lung() -> pl.DataFrame:
    frame = pl.read_csv(PUBLISHED / "survival_lung.csv", null_values="NA")
    return frame.with_columns(event=pl.col("status") - 1)


def test_uno_s_stands_beside_harrell_s(lung: pl.DataFrame) -> None:
    values = r_values("survival_concordance")
    rows = run(lung, **COX)
    harrell = only(rows, measure="concordance")["estimate"]
    uno = only(rows, measure="uno_concordance")
    assert harrell == pytest.approx(values["lung", "harrell"], rel=1e-6)
    assert uno["estimate"] == pytest.approx(values["lung", "uno"], rel=1e-6)
    assert (uno["day"], uno["confidence"]) == (None, None)


def test_the_last_day_of_the_horizon_ends_it(lung: pl.DataFrame) -> None:
    uno = only(run(lung, **COX, horizon=[200, 310]), measure="uno_concordance")
    assert uno["day"] == 310
    value = r_values("survival_concordance")["lung", "uno 310"]
    assert uno["estimate"] == pytest.approx(value, rel=1e-6)


def test_late_entry_withholds_it_and_says_why() -> None:
    bladder = pl.read_csv(PUBLISHED / "survival_bladder2.csv")
    rows = run(bladder, model="cox", time="stop", entry="start", event="event", cluster="id",
               adjust_for=["rx", "size"])  # fmt: skip
    assert only(rows, measure="concordance")["estimate"] > 0.5
    uno = only(rows, measure="uno_concordance")
    assert (uno["estimate"], uno["concerns"]) == (None, "late_entry")


def test_a_model_that_has_no_numbers_has_neither(lung: pl.DataFrame) -> None:
    rows = run(lung.with_columns(event=pl.lit(0)), **COX)
    assert not set(rows["measure"]) & {"concordance", "uno_concordance"}
