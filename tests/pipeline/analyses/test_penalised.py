"""Where data are sparse Firth's fit is primary, its errors by animal; R gives the same numbers."""

import shutil
import subprocess
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from pipeline.refit import refit_scripts
from shared.estimate import results_frame
from shared.files import write_csv
from tests.pipeline.analyses.conftest import BY_YEAR

COX: dict[str, Any] = {
    "id": "x", "model": "cox", "time": "relux_day", "event": "relux_state",
    "event_of_interest": "reluxation", "competing": ["death", "other_revision"],
    "censored": "censored", "exposure": "tension_band_done", "adjust_for": ["log_weight_kg"],
}  # fmt: skip
LOGISTIC: dict[str, Any] = {
    "id": "y", "model": "logistic", "outcome": "relux_by_365", "exposure": "tension_band_done",
    "adjust_for": ["log_weight_kg"], "adjustments": ["adjusted"],
}  # fmt: skip
BY_ANIMAL = {"cluster": "animal_id"}


@pytest.fixture
def few_events(invented_cohort: pl.DataFrame) -> pl.DataFrame:
    """Keep the first 15 reluxations as events."""
    event = pl.col("relux_state").eq_missing(pl.lit("reluxation"))
    early = event.cum_sum() <= 15
    return invented_cohort.with_columns(
        relux_state=pl.when(event & ~early).then(pl.lit("censored")).otherwise("relux_state"),
        relux_by_365=pl.col("relux_by_365") & early,
    )


@pytest.fixture
def separated(invented_cohort: pl.DataFrame) -> pl.DataFrame:
    """No reluxation with a tension band."""
    free = pl.col("tension_band_done") & (pl.col("relux_state") == "reluxation")
    return invented_cohort.with_columns(
        relux_state=pl.when(free).then(pl.lit("censored")).otherwise("relux_state"),
        relux_by_365=pl.col("relux_by_365") & ~pl.col("tension_band_done"),
    )


def run(frame: pl.DataFrame, asked: dict[str, Any], **more: object) -> pl.DataFrame:
    return results_frame(run_analysis(frame, parse_analysis({**asked, **more})).rows)


def ratio(results: pl.DataFrame, model: str, *, term: str = "tension_band_done") -> dict[str, Any]:
    found = results.filter(
        pl.col("measure").is_in(["hazard_ratio", "odds_ratio"]) & (pl.col("model") == model)
        & (pl.col("adjustment") == "adjusted") & (pl.col("term") == term)
        & (pl.col("level").is_null() | (pl.col("level") == "true"))
    )  # fmt: skip
    assert len(found) == 1, found
    return found.row(0, named=True)


def test_few_events_make_firths_cox_model_primary(few_events: pl.DataFrame) -> None:
    results = run(few_events, COX, role="primary", **BY_ANIMAL)
    firth, likelihood = ratio(results, "firth_cox"), ratio(results, "cox")
    assert (firth["role"], likelihood["role"]) == ("primary", "sensitivity")
    assert firth["events"] == 15
    assert "penalised" in firth["concerns"]
    assert "clusters_ignored" not in firth["concerns"]
    assert "robust errors by animal_id" in firth["method"]
    assert 0.5 < firth["std_error"] / likelihood["std_error"] < 2
    assert firth["std_error"] != likelihood["std_error"]


def test_enough_events_leave_maximum_likelihood(invented_cohort: pl.DataFrame) -> None:
    results = run(invented_cohort, COX, **BY_ANIMAL)
    assert not results["model"].str.contains("firth").any()
    asked = run(invented_cohort, COX, estimator="penalised", **BY_ANIMAL)
    assert ratio(asked, "firth_cox")["role"] == "exploratory"
    assert ratio(asked, "cox")["role"] == "sensitivity"


@pytest.mark.parametrize("asked", [COX, LOGISTIC])
def test_the_plan_can_keep_maximum_likelihood(
    few_events: pl.DataFrame, asked: dict[str, Any]
) -> None:
    results = run(few_events, asked, estimator="maximum_likelihood", **BY_ANIMAL)
    assert not results["model"].str.contains("firth").any()
    assert "few_events_per_parameter" in ratio(results, asked["model"])["concerns"]


@pytest.mark.parametrize("asked", [COX, LOGISTIC])
def test_limits_are_robust_with_clusters_and_profiles_without(
    few_events: pl.DataFrame, asked: dict[str, Any]
) -> None:
    name = f"firth_{asked['model']}"
    robust = ratio(run(few_events, asked, **BY_ANIMAL), name)
    profile = ratio(run(few_events, asked), name)
    assert robust["estimate"] == profile["estimate"]
    assert "clusters_ignored" not in robust["concerns"]
    assert "clusters_ignored" in profile["concerns"]
    assert (robust["low"] * robust["high"]) ** 0.5 == pytest.approx(robust["estimate"])
    assert "profile limits" in profile["method"]
    assert "profile" not in robust["method"]


def test_logistic_errors_are_the_larger_unless_the_plan_declines(few_events: pl.DataFrame) -> None:
    asked = {**LOGISTIC, "levels": ["false", "true"], "adjustments": ["standardised", "adjusted"]}
    usual, named, declined = (
        run(few_events, asked, **BY_ANIMAL, **more)
        for more in ({}, {"variance": "larger_of_robust_and_model"}, {"variance": "CR1"})
    )
    alone = run(few_events, asked)  # without clusters errors come from the model
    for term in ("tension_band_done", "log_weight_kg"):
        robust, model = (ratio(rows, "firth_logistic", term=term) for rows in (declined, alone))
        larger = ratio(usual, "firth_logistic", term=term)
        assert larger["std_error"] == max(robust["std_error"], model["std_error"])
        assert "the larger of model-based and robust errors by animal_id" in larger["method"]
        assert "the larger" not in robust["method"]
        assert ratio(named, "firth_logistic", term=term) == larger
    for measure in ("risk_difference", "risk_ratio"):
        errors = [
            rows.filter(
                pl.col("measure") == measure,
                pl.col("model") == "firth_logistic",
                pl.col("std_error").is_not_null(),
                pl.col("state").is_null(),
            )
            for rows in (usual, declined, alone)
        ]
        values = [found["std_error"].item() for found in errors]
        assert values[0] == max(values[1:])
        assert "robust by animal_id or model-based, the larger" in errors[0]["method"].item()


def test_a_corrected_intercept_moves_risks_but_no_ratio(few_events: pl.DataFrame) -> None:
    asked = {**LOGISTIC, "levels": ["false", "true"], "adjustments": ["standardised", "adjusted"],
             "profiles": {"small": {"log_weight_kg": 1.6}}, **BY_ANIMAL}  # fmt: skip
    known = few_events.filter(pl.col("relux_by_365").is_not_null())
    usual, moved = run(known, asked), run(known, asked, intercept="corrected")
    assert ratio(moved, "firth_logistic") == ratio(usual, "firth_logistic")
    for measure in ("risk", "profile_risk"):
        before, after = (
            rows.filter(pl.col("measure") == measure, pl.col("model") == "firth_logistic")
            for rows in (usual, moved)
        )
        assert (after["estimate"] < before["estimate"]).all()
        assert len(after) == 2
    risk = moved.filter(pl.col("measure") == "risk", pl.col("model") == "firth_logistic")
    assert risk["method"].str.contains("intercept corrected").all()
    low, high = sorted(risk["estimate"])
    assert low < known["relux_by_365"].cast(pl.Float64).mean() < high  # type: ignore[operator]


@pytest.mark.parametrize("asked", [COX, LOGISTIC])
def test_a_term_that_separates_keeps_its_profile_limits(
    separated: pl.DataFrame, asked: dict[str, Any]
) -> None:
    results = run(separated, asked, **BY_ANIMAL)
    name = f"firth_{asked['model']}"
    firth, other = ratio(results, name), ratio(results, name, term="log_weight_kg")
    assert ratio(results, asked["model"])["estimate"] is None
    assert firth["low"] < firth["estimate"] < firth["high"] < 0.2
    assert "profile limits" in firth["method"]
    assert "clusters_ignored" in firth["concerns"]
    assert "robust errors" in other["method"]
    assert "clusters_ignored" not in other["concerns"]
    alone = ratio(run(separated, asked), name)
    assert [firth[key] for key in ("low", "high", "p_value", "df")] == [
        alone[key] for key in ("low", "high", "p_value", "df")
    ]


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="no Rscript on this machine")
@pytest.mark.parametrize(
    ("asked", "data"),
    [
        (COX, "few_events"),
        (COX, "separated"),
        (LOGISTIC, "few_events"),
        (LOGISTIC, "separated"),
        (LOGISTIC | {"variance": "CR1"}, "few_events"),
        (LOGISTIC | {"variance": "larger_of_robust_and_model"}, "few_events"),
    ],
)
def test_r_gives_the_same_six_figures_of_penalised_fits(
    request: pytest.FixtureRequest, tmp_path: Path, data: str, asked: dict[str, Any]
) -> None:
    frame: pl.DataFrame = request.getfixturevalue(data)
    stays = frame.filter(pl.col("left_at").is_null())
    write_csv(tmp_path / "cohort.csv", frame)
    write_csv(tmp_path / "results.csv", run(stays, asked, **BY_ANIMAL))
    (script,) = refit_scripts([parse_analysis({**asked, **BY_ANIMAL})], tmp_path / "refit")
    done = subprocess.run(
        ["Rscript", script.name], cwd=script.parent, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert f"adjusted firth_{asked['model']} se tension_band_done" in done.stdout
    assert "DIFFERS" not in done.stdout


@pytest.mark.parametrize(
    ("variance", "events", "narrow"),
    [
        ("CR1", 25, {"odds_ratio", "risk_difference", "risk_ratio"}),
        ("CR1", None, set()),
        (None, 25, set()),
        (None, 9, {"risk_difference"}),
    ],
)
def test_intervals_say_where_events_are_too_few(
    invented_cohort: pl.DataFrame, variance: str | None, events: int | None, narrow: set[str]
) -> None:
    """Below 6 of the rarer outcome per parameter with robust errors alone, as the simulation of
    small studies asks; with the larger errors only the difference, and below 2.5.
    """
    more = {} if variance is None else {"variance": variance}
    asked = {**BY_YEAR, "missing_outcome": "complete_cases", **more}
    known = invented_cohort.filter(pl.col("left_at").is_null(), ~pl.col("relux_held"))
    happened = known.filter(pl.col("relux_by_365")).sort("stifle_id")
    others = known.filter(~pl.col("relux_by_365"))
    kept = happened if events is None else happened.head(events)
    frame = pl.concat([kept, others]).sort("stifle_id")
    rows = run(frame, {"id": "x", "model": "logistic", **asked})
    told = rows.filter(
        pl.col("model") == "firth_logistic", pl.col("low").is_not_null(),
        pl.col("measure").is_in(["odds_ratio", "risk_difference", "risk_ratio"]),
        pl.col("adjustment") != "crude", pl.col("state").is_null(),
    )  # fmt: skip
    said = told.filter(pl.col("concerns").str.contains("interval_too_narrow"))
    assert set(told["measure"]) == {"odds_ratio", "risk_difference", "risk_ratio"}
    assert set(said["measure"]) == narrow
    beside = rows.filter(pl.col("model") == "logistic", pl.col("measure") == "odds_ratio")
    assert not beside["concerns"].str.contains("interval_too_narrow").any()
