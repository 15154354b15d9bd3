"""The plan on an invented cohort: what is given, what stands beside it, what is withheld."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.analyse import Analysed, analyse
from pipeline.analyses.curves import CURVE_SCHEMA
from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from pipeline.study import Study
from shared.errors import PlanError
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
        & (pl.col("group") == "wedge_recession")
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


def test_nobody_followed_so_far_gives_no_number(invented_cohort: pl.DataFrame) -> None:
    for model in ("cumulative_incidence", "kaplan_meier"):
        results = run(invented_cohort, model=model, **RELUX, horizon=[5000])
        row = results.filter((pl.col("day") == 5000) & pl.col("measure").is_in(
            ["risk", "survival"])).row(0, named=True)  # fmt: skip
        assert row["estimate"] is None
        assert "beyond_follow_up" in row["concerns"]


def test_rows_outside_the_levels_are_counted(invented_cohort: pl.DataFrame) -> None:
    results = run(
        invented_cohort, model="cox", **RELUX, exposure="sulcoplasty_type",
        levels=["wedge_recession", "block_recession"],
    )  # fmt: skip
    other = int((invented_cohort["sulcoplasty_type"] == "none").sum())
    assert only(results, measure="count", term="other_levels")["n"] == other
    ratio = only(results, measure="hazard_ratio", level="block_recession")
    missing = results.filter((pl.col("measure") == "count") & (pl.col("term") == "missing"))
    assert ratio["n"] + ratio["n_dropped"] == len(invented_cohort) - other
    assert missing["n"].sum() == ratio["n_dropped"] > 0


def test_a_reference_level_has_a_row_without_a_number(invented_cohort: pl.DataFrame) -> None:
    results = run(invented_cohort, model="cox", **RELUX, exposure="clinic_id",
                  categorical={"clinic_id": "north"})  # fmt: skip
    row = only(results, measure="hazard_ratio", level="north")
    assert (row["reference"], row["estimate"]) == ("north", None)


def test_ignored_clusters_are_said(invented_cohort: pl.DataFrame) -> None:
    plain = run(invented_cohort, model="cox", **RELUX, exposure="tension_band_done")
    robust = run(invented_cohort, model="cox", **RELUX, exposure="tension_band_done",
                 cluster="animal_id")  # fmt: skip
    assert "clusters_ignored" in only(plain, measure="hazard_ratio", level="true")["concerns"]
    row = only(robust, measure="hazard_ratio", level="true")
    assert "clusters_ignored" not in row["concerns"]
    assert row["clusters"] == invented_cohort.filter(
        pl.col("relux_day").is_not_null())["animal_id"].n_unique()  # fmt: skip


def test_the_textbook_test_stands_beside_that_of_clusters(analysed: Analysed) -> None:
    tests = analysed.results.filter(
        (pl.col("analysis") == "groups") & (pl.col("measure") == "test")
    )
    assert tests["term"].to_list() == ["robust_score", "log_rank"]
    assert tests["concerns"].to_list()[0] == "held_rows"
    assert "clusters_ignored" in tests["concerns"].to_list()[1]


def test_no_event_gives_no_number_and_a_reason(invented_cohort: pl.DataFrame) -> None:
    quiet = invented_cohort.with_columns(
        relux_state=pl.when(pl.col("relux_state").is_not_null()).then(pl.lit("censored")),
        relux_by_365=pl.when(pl.col("relux_by_365").is_not_null()).then(pl.lit(value=False)),
    )
    arm = {"exposure": "sulcoplasty_type", "levels": ["wedge_recession", "block_recession"],
           "adjust_for": ["grade_preop"], "cluster": "animal_id"}  # fmt: skip
    cox = only(
        run(quiet, model="cox", **RELUX, **arm), measure="hazard_ratio", adjustment="adjusted",
        level="block_recession",
    )  # fmt: skip
    assert cox["estimate"] is None
    assert "no_events" in cox["concerns"]
    risk = run(quiet, model="cumulative_incidence", **RELUX, **arm, horizon=[365])
    assert only(risk, measure="risk", adjustment="crude", group="block_recession",
                state="reluxation")["estimate"] == 0.0  # fmt: skip
    standardised = risk.filter((pl.col("adjustment") == "standardised") & (
        pl.col("measure") == "risk"))  # fmt: skip
    assert standardised["estimate"].null_count() == len(standardised) == 2
    logistic = run(quiet, model="logistic", outcome="relux_by_365", **arm,
                   missing_outcome="observation_weights")  # fmt: skip
    numbers = logistic.filter(pl.col("measure").is_in(["odds_ratio", "risk", "risk_difference"]))
    assert numbers["estimate"].null_count() == len(numbers) > 0


def test_a_copy_of_a_term_gives_no_number(invented_cohort: pl.DataFrame) -> None:
    copied = invented_cohort.with_columns(copy=pl.col("grade_preop") * 2)
    results = run(copied, model="cox", **RELUX, adjust_for=["grade_preop", "copy"])
    rows = results.filter(pl.col("measure") == "hazard_ratio")
    assert rows["estimate"].null_count() == 2
    assert rows["concerns"].str.contains("collinear;not_identified").all()


def test_what_a_fit_refuses_names_the_analysis(invented_cohort: pl.DataFrame) -> None:
    one = invented_cohort.with_columns(clinic_id=pl.lit("north"))
    with pytest.raises(PlanError, match=r'analysis "x": clinic_id has one level only: north'):
        run(one, model="cox", **RELUX, adjust_for=["clinic_id"],
            categorical={"clinic_id": "north"})  # fmt: skip
    with pytest.raises(PlanError, match="nobody is left in its population"):
        run(invented_cohort.with_columns(set_b=pl.lit(value=False)), model="cox", **RELUX,
            population="B", exposure="tension_band_done")  # fmt: skip


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
