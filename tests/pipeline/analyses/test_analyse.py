"""The plan on an invented cohort: what is given and what stands beside it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.analyse import Analysed, analyse
from pipeline.analyses.curves import CURVE_SCHEMA
from pipeline.study import Study
from tests.pipeline.analyses.asked import RELUX, only, run


def test_each_analysis_is_announced_in_order(
    invented_cohort: pl.DataFrame, small_study: Study
) -> None:
    steps: list[str] = []
    quick = replace(small_study, analyses=small_study.analyses[3:])
    analyse(invented_cohort, quick, on_step=steps.append)
    assert steps == ["curve", "groups", "shares"]


def test_order_of_rows_and_stifles_that_left_change_nothing(
    invented_cohort: pl.DataFrame, small_study: Study, analysed: Analysed
) -> None:
    shuffled = invented_cohort.sample(fraction=1.0, shuffle=True, seed=5)
    stays = pl.col("left_at").is_null()
    shuffled = shuffled.with_columns(
        pl.when(stays).then("relux_state").alias("relux_state"),
        pl.when(stays).then("grade_preop").otherwise(9).alias("grade_preop"),
    )
    again = analyse(shuffled, small_study)
    assert again.results.equals(analysed.results)
    assert again.curves.equals(analysed.curves)


def test_primary_results_come_with_both_bounds_of_held_stifles(analysed: Analysed) -> None:
    events = {}
    for ending in ("", "_held_event", "_held_free"):
        risks = analysed.results.filter(
            (pl.col("analysis") == f"risk{ending}") & (pl.col("adjustment") == "crude")
            & (pl.col("measure") == "risk") & (pl.col("state") == "reluxation")
            & (pl.col("day") == 365)
        )  # fmt: skip
        events[ending] = (risks["events"].sum(), risks["n"].sum())
    assert events["_held_event"][0] > events["_held_free"][0]
    assert events["_held_free"][0] == events[""][0]
    assert events["_held_event"][1] == events["_held_free"][1] > events[""][1]
    bounds = analysed.results.filter(pl.col("analysis").str.contains("_held_"))
    assert bounds["role"].unique().to_list() == ["sensitivity"]
    assert not bounds["concerns"].str.contains("held_rows").any()


def test_complete_cases_stand_beside_weighted_outcomes(analysed: Analysed) -> None:
    ratios = analysed.results.filter(
        (pl.col("analysis") == "year") & (pl.col("measure") == "odds_ratio")
        & (pl.col("level") == "block_recession") & (pl.col("adjustment") == "crude")
    )  # fmt: skip
    selected = "outcome_selected_by_follow_up"
    roles = dict(zip(ratios["model"], ratios["role"], strict=True))
    assert roles == {"weighted_logistic": "secondary", "logistic": "sensitivity"}
    concerns = dict(zip(ratios["model"], ratios["concerns"], strict=True))
    assert selected in concerns["logistic"]
    assert selected not in concerns["weighted_logistic"]
    first = analysed.results.filter(pl.col("analysis") == "year").row(0, named=True)
    assert (first["measure"], first["adjustment"]) == ("risk", "standardised")


def test_complete_cases_over_count_the_risk(analysed: Analysed) -> None:
    """Events are always known and non-events only if looked for."""
    risks = analysed.results.filter(
        (pl.col("analysis") == "year") & (pl.col("measure") == "risk")
        & (pl.col("group") == "wedge_recession") & pl.col("state").is_null()
    )  # fmt: skip
    by_model = dict(zip(risks["model"], risks["estimate"], strict=True))
    weighted = next(value for model, value in by_model.items() if model.startswith("weighted"))
    complete = next(value for model, value in by_model.items() if not model.startswith("weighted"))
    assert weighted < complete


def test_number_needed_is_one_over_the_difference(analysed: Analysed) -> None:
    rows = analysed.results.filter(
        (pl.col("adjustment") == "standardised") & (pl.col("analysis") == "risk")
        & (pl.col("day") == 365)
    )  # fmt: skip
    difference = only(rows, measure="risk_difference")
    needed = only(rows, measure="number_needed_to_treat")
    assert needed["estimate"] == pytest.approx(1 / difference["estimate"])
    assert needed["low"] == pytest.approx(1 / difference["high"])
    crosses = difference["low"] < 0 < difference["high"]
    assert ("interval_through_infinity" in needed["concerns"]) == crosses


def test_two_stifles_of_an_animal_in_both_arms_share_their_fate() -> None:
    """Every animal has one stifle in each arm with the same course: the difference is certain."""
    draw = np.random.default_rng(3)
    one = pl.DataFrame(
        {
            "animal": np.arange(80).astype(str),
            "day": draw.integers(1, 400, 80),
            "event": (draw.random(80) < 0.4).astype(int),
        }
    )
    both = pl.concat([one.with_columns(arm=pl.lit("a")), one.with_columns(arm=pl.lit("b"))])
    asked: dict[str, object] = {
        "model": "cumulative_incidence", "time": "day", "event": "event", "horizon": 200,
        "exposure": "arm", "levels": ["a", "b"],
    }  # fmt: skip
    clustered = only(run(both, **asked, cluster="animal"), measure="risk_difference")
    ignored = only(run(both, **asked), measure="risk_difference")
    assert clustered["estimate"] == pytest.approx(0, abs=1e-12)
    assert clustered["std_error"] < 0.05 * ignored["std_error"]
    assert clustered["clusters"] == 80


def test_the_textbook_test_stands_beside_that_of_clusters(analysed: Analysed) -> None:
    tests = analysed.results.filter(
        (pl.col("analysis") == "groups") & (pl.col("measure") == "test")
    )
    assert tests["term"].to_list() == ["robust_score", "log_rank"]
    assert tests["concerns"].to_list()[0] == "held_rows"
    assert "clusters_ignored" in tests["concerns"].to_list()[1]


def test_units_of_coefficients_come_from_the_codebook(
    invented_cohort: pl.DataFrame, tmp_path: Path, small_study: Study
) -> None:
    asked = {"id": "age", "model": "cox", **RELUX, "adjust_for": ["age_months"],
             "per": {"age_months": 12}}  # fmt: skip
    done = analyse(invented_cohort, replace(small_study, analyses=(asked,), folder=tmp_path))
    assert only(done.results, measure="hazard_ratio")["unit"] == "per 12 month"


def test_curves_start_with_everybody_and_count_them(
    invented_cohort: pl.DataFrame, analysed: Analysed
) -> None:
    assert analysed.curves.columns == list(CURVE_SCHEMA)
    curve = analysed.curves.filter(
        (pl.col("analysis") == "risk") & (pl.col("state") == "reluxation")
        & (pl.col("group") == "block_recession")
    )  # fmt: skip
    assert curve.row(0, named=True)["estimate"] == 0.0
    assert curve["estimate"].is_sorted()
    arm = invented_cohort.filter(
        pl.col("left_at").is_null() & pl.col("relux_day").is_not_null()
        & (pl.col("sulcoplasty_type") == "block_recession")
    )  # fmt: skip
    for day in (0, 91, 365):
        here = curve.filter(pl.col("day") <= max(day, 0)).row(-1, named=True)
        still = here["n_at_risk"] - (0 if day == 0 else (arm["relux_day"] == here["day"]).sum())
        assert still == (arm["relux_day"] > day).sum()
