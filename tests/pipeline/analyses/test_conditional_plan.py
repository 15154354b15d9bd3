"""Conditional logistic regression through a plan: concerns, counts and what is refused."""

import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from shared.errors import PlanError
from shared.estimate import results_frame

PLAN = {"id": "within", "model": "conditional_logistic", "outcome": "event", "exposure": "arm",
        "levels": ["plain", "new"], "matched_set": "animal_id"}  # fmt: skip


def stifles(differ: tuple[int, int]) -> pl.DataFrame:
    outcomes = [(1, 0)] * differ[0] + [(0, 1)] * differ[1] + [(0, 0)] * 3
    return pl.DataFrame([
        {"animal_id": f"a{place:02d}", "arm": arm, "event": event, "age": 3.0 + place}
        for place, pair in enumerate(outcomes)
        for arm, event in zip(("new", "plain"), pair, strict=True)
    ])  # fmt: skip


def test_pairs_of_a_plan_give_their_odds_ratio_and_counts() -> None:
    rows = run_analysis(stifles((12, 5)), parse_analysis(PLAN)).rows
    frame = results_frame(rows)
    ratio = frame.filter((pl.col("measure") == "odds_ratio") & (pl.col("level") == "new"))
    assert ratio["estimate"].to_list() == pytest.approx([12 / 5])
    assert ratio["clusters"].to_list() == [17]
    assert "clusters_ignored" not in ratio["concerns"][0]
    counts = frame.filter(pl.col("term").is_in(["sets", "sets_with_both_outcomes"]))
    assert counts["estimate"].to_list() == [20, 17]


def test_a_term_that_separates_or_never_varies_has_no_number() -> None:
    for table, plan, concern in (
        (stifles((12, 0)), PLAN, "separation"),
        (stifles((12, 5)), {**PLAN, "adjust_for": ["age"]}, "not_identified"),
    ):
        rows = run_analysis(table, parse_analysis(plan)).rows
        found = [row for row in rows if row.measure in ("odds_ratio", "coefficient")
                 and row.level != "plain" and concern in row.concerns]  # fmt: skip
        assert found
        assert all(row.estimate is None and row.low is None for row in found)
        results_frame(rows)


def test_a_plan_without_terms_or_sets_is_refused() -> None:
    with pytest.raises(PlanError, match='needs "matched_set"'):
        parse_analysis({key: value for key, value in PLAN.items() if key != "matched_set"})
    bare = {key: value for key, value in PLAN.items() if key not in ("exposure", "levels")}
    with pytest.raises(PlanError, match="add exposure or adjust_for"):
        run_analysis(stifles((2, 2)), parse_analysis(bare))
