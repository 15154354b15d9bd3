"""Numbers that an analysis withholds, rows that it leaves out, and the reasons it gives."""

import polars as pl
import pytest

from shared.errors import PlanError
from tests.pipeline.analyses.asked import RELUX, only, run


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
    known = logistic.filter(pl.col("state").is_null())  # unknown outcomes have their extremes
    numbers = known.filter(pl.col("measure").is_in(["odds_ratio", "risk", "risk_difference"]))
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
