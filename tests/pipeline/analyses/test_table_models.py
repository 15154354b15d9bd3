"""Tables in strata and in pairs through a plan: whom they count, what they refuse."""

import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from shared.errors import PlanError
from shared.estimate import Estimate, results_frame

PAIRED = {"id": "pairs", "model": "paired_table", "outcome": "event", "exposure": "arm",
          "levels": ["plain", "new"], "matched_set": "animal"}  # fmt: skip
STRATIFIED = {"id": "strata", "model": "stratified_table", "outcome": "event", "exposure": "arm",
              "levels": ["plain", "new"], "strata": ["clinic"]}  # fmt: skip


def airways() -> pl.DataFrame:
    """21 pairs: both 1, the new only 1, the plain only 7, neither 12 (Fagerland et al. 2013)."""
    seen = [(1, 1)] + [(1, 0)] + [(0, 1)] * 7 + [(0, 0)] * 12
    return pl.DataFrame([
        {"animal": f"a{place}", "arm": arm, "event": event}
        for place, pair in enumerate(seen)
        for arm, event in zip(("new", "plain"), pair, strict=True)
    ])  # fmt: skip


def only(rows: tuple[Estimate, ...], measure: str, term: str, level: str | None) -> Estimate:
    found = [row for row in rows if (row.measure, row.term, row.level) == (measure, term, level)]
    assert len(found) == 1
    return found[0]


def test_pairs_of_a_plan_give_their_published_numbers_and_leave_others_out() -> None:
    """From memory: p 0.034, exact 0.070, mid-p 0.039; limits -0.507 and -0.026."""
    alone = pl.DataFrame({"animal": ["z1", "z2", "z2"], "arm": ["new", "plain", "plain"],
                          "event": [1, 0, 1]})  # fmt: skip
    rows = run_analysis(pl.concat([airways(), alone]), parse_analysis(PAIRED)).rows
    results_frame(rows)
    difference = only(rows, "risk_difference", "arm", "new")
    assert (difference.low, difference.high) == pytest.approx((-0.507, -0.026), abs=5e-4)
    assert only(rows, "odds_ratio", "arm", "new").estimate == pytest.approx(1 / 7)
    expected = {"mcnemar": 0.034, "exact_pairs": 0.070, "mid_p_pairs": 0.039}
    found = {name: only(rows, "test", name, "new").p_value for name in expected}
    assert found == pytest.approx(expected, abs=5e-4)
    assert only(rows, "count", "not_in_a_pair", None).estimate == 3
    assert only(rows, "count", "pairs", "reference_only").estimate == 7


def test_rows_in_another_order_give_the_same_pairs() -> None:
    plan = parse_analysis(PAIRED)
    assert run_analysis(airways().reverse(), plan).rows == run_analysis(airways(), plan).rows


def test_pairs_that_differ_one_way_only_have_one_limit_and_no_ratio() -> None:
    one_way = airways().filter(pl.col("animal") != "a1")
    row = only(run_analysis(one_way, parse_analysis(PAIRED)).rows, "odds_ratio", "arm", "new")
    assert (row.estimate, row.low) == (None, 0)
    assert row.high is not None
    assert "separation" in row.concerns


def test_no_pair_is_refused() -> None:
    with pytest.raises(PlanError, match="no set of animal has one row of each level"):
        run_analysis(airways().with_columns(animal=pl.lit("same")), parse_analysis(PAIRED))


def test_strata_with_one_arm_only_are_counted_and_bear_on_nothing() -> None:
    clinics = airways().with_columns(clinic=pl.lit("north"), animal_id=pl.col("animal"))
    lone = pl.DataFrame({"animal": ["z"], "arm": ["new"], "event": [1], "clinic": ["lake"],
                         "animal_id": ["z"]})  # fmt: skip
    plan = parse_analysis(STRATIFIED)
    rows = run_analysis(pl.concat([clinics, lone.select(clinics.columns)]), plan).rows
    results_frame(rows)
    plain = run_analysis(clinics, plan).rows
    ratio = only(rows, "odds_ratio", "arm", "new")
    assert ratio.estimate == only(plain, "odds_ratio", "arm", "new").estimate
    assert "clusters_ignored" in ratio.concerns
    assert only(rows, "count", "strata", "new").estimate == 2
    assert only(rows, "count", "strata_with_both", "new").estimate == 1
    assert not [row for row in rows if row.term == "breslow_day"]


def test_tables_without_a_reference_are_refused() -> None:
    plan = {key: value for key, value in STRATIFIED.items() if key != "levels"}
    with pytest.raises(PlanError, match="is the reference"):
        run_analysis(airways().with_columns(clinic=pl.lit("a")), parse_analysis(plan))


def test_keys_that_a_table_needs_or_ignores_are_named() -> None:
    with pytest.raises(PlanError, match='needs "matched_set"'):
        parse_analysis({key: value for key, value in PAIRED.items() if key != "matched_set"})
    with pytest.raises(PlanError, match='does not use "strata"'):
        parse_analysis({**PAIRED, "strata": ["clinic"]})
