"""Mean cumulative counts through a plan: death that ends the counting, curves, what is refused."""

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from shared.errors import PlanError
from tests.analysis.r_values import r_values
from tests.pipeline.analyses.asked import only, run

PUBLISHED = Path(__file__).parents[3] / "shared" / "published"
ASKED: dict[str, Any] = {
    "model": "mean_cumulative_count", "time": "stop", "entry": "start", "event": "status",
    "event_of_interest": "1", "competing": ["2", "3"], "censored": "0", "cluster": "id",
    "exposure": "treatment", "categorical": {"treatment": "placebo"}, "horizon": [12, 36],
}  # fmt: skip


@pytest.fixture(scope="module")
def bladder() -> pl.DataFrame:
    frame = pl.read_csv(PUBLISHED / "survival_bladder1.csv")
    return frame.filter(pl.col("start") < pl.col("stop"))


def test_both_estimands_stand_side_by_side(bladder: pl.DataFrame) -> None:
    rows = run(bladder, **ASKED)
    for group, key in (("placebo", "death placebo"), ("thiotepa", "death thiotepa")):
        for measure, quantity in (("mean_count", "count"), ("cumulative_rate", "rate")):
            row = only(rows, measure=measure, group=group, day=36.0)
            value = r_values("survival_mean_count")[key, f"{quantity} 36"]
            assert row["estimate"] == pytest.approx(value, rel=1e-6)
    whole = rows.filter(pl.col("group").is_null(), pl.col("measure") == "mean_count")
    assert whole["estimate"][-1] == pytest.approx(
        r_values("survival_mean_count")["death", "count 36"], rel=1e-6
    )
    assert whole["clusters"].unique().to_list() == [bladder["id"].n_unique()]


def test_arms_are_compared_with_the_reference(bladder: pl.DataFrame) -> None:
    rows = run(bladder, **ASKED)
    ratio = only(rows, measure="mean_count_ratio", level="thiotepa", day=36.0)
    arms = [only(rows, measure="mean_count", group=arm, day=36.0)["estimate"]
            for arm in ("thiotepa", "placebo")]  # fmt: skip
    assert ratio["estimate"] == pytest.approx(arms[0] / arms[1])
    assert ratio["reference"] == "placebo"
    assert len(rows.filter(pl.col("term") == "robust_score")) == 1


def test_curves_of_all_and_of_arms_begin_at_nought(bladder: pl.DataFrame) -> None:
    curves = run_analysis(bladder, parse_analysis({"id": "x", **ASKED})).curves
    assert curves["curve"].unique().to_list() == ["mean_count"]
    first = curves.group_by("group", maintain_order=True).first()
    assert first["group"].to_list() == [None, "placebo", "pyridoxine", "thiotepa"]
    assert first["estimate"].to_list() == [0, 0, 0, 0]
    ended = curves.filter(pl.col("group").is_null())
    assert ended["n_events"].sum() == int((bladder["status"] == 1).sum())


def test_a_day_beyond_follow_up_has_no_number(bladder: pl.DataFrame) -> None:
    late = run(bladder, **{**ASKED, "horizon": [500]}).filter(pl.col("day") == 500)
    rates = late.filter(pl.col("measure") == "cumulative_rate")
    assert rates["estimate"].null_count() == len(rates) == 4
    assert rates["concerns"].str.contains("beyond_follow_up").all()


def test_a_count_is_final_only_where_the_last_one_followed_died(bladder: pl.DataFrame) -> None:
    late = run(bladder, **{**ASKED, "horizon": [500]}).filter(pl.col("measure") == "mean_count")
    for arm, estimate in late.drop_nulls("group").select("group", "estimate").iter_rows():
        last = bladder.filter(pl.col("treatment") == arm).sort("stop").tail(1)
        assert (estimate is not None) == (last["status"][0] >= 2)


def test_a_stretch_of_no_length_is_refused_with_its_row() -> None:
    frame = pl.read_csv(PUBLISHED / "survival_bladder1.csv")
    with pytest.raises(PlanError, match="start is not before stop in 2 rows, first in row 2"):
        run(frame, **ASKED)


def test_stretches_without_entry_or_cluster_are_refused(bladder: pl.DataFrame) -> None:
    for key in ("entry", "cluster"):
        asked = {name: value for name, value in ASKED.items() if name != key}
        with pytest.raises(PlanError, match=f'"mean_cumulative_count" needs "{key}"'):
            run(bladder, **asked)
