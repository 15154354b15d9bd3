"""Judging a logistic model through a plan: R's values, clinics left out, what is not asked for."""

from importlib.resources import files

import polars as pl
import pytest

from pipeline.plan import parse_analysis
from shared.errors import PlanError
from tests.analysis.r_values import Values, r_values
from tests.pipeline.analyses.asked import only, run
from tests.pipeline.analyses.conftest import BY_YEAR

LOW = {
    "model": "logistic", "outcome": "low", "estimator": "maximum_likelihood",
    "adjust_for": ["age", "lwt", "race", "smoke", "ptl", "ht", "ui"], "categorical": {"race": "1"},
}  # fmt: skip


@pytest.fixture(scope="module")
def r() -> Values:
    return r_values("binary_diagnostics")


@pytest.fixture(scope="module")
def judged() -> pl.DataFrame:
    """Birth weights, numbers of visits (3 and more as one) as clinics."""
    frame = pl.read_csv(str(files("shared") / "published" / "birthwt.csv"))
    frame = frame.with_columns(clinic_id=pl.col("ftv").clip(upper_bound=3).cast(pl.String))
    return run(frame, **LOW, diagnostics=True, cluster="age", resamples=20)


@pytest.fixture(scope="module")
def by_year(invented_cohort: pl.DataFrame) -> pl.DataFrame:
    return run(invented_cohort, model="logistic", **BY_YEAR, diagnostics=True)


def test_own_rows_and_clinics_left_out_agree_with_r(r: Values, judged: pl.DataFrame) -> None:
    for measure, name in (("concordance", "area"), ("brier", "brier")):
        for state, group in (("apparent", "optimism"), ("left_out", "left out")):
            value = only(judged, measure=measure, state=state)["estimate"]
            assert value == pytest.approx(r[group, name], rel=1e-8)
    slope = only(judged, measure="calibration_slope", state="left_out")["estimate"]
    assert slope == pytest.approx(r["left out", "slope"], rel=1e-7)
    for clinic, n in (("0", 36), ("1", 11), ("2", 7), ("3", 5)):
        found = only(judged, measure="observed_expected", group=clinic)
        assert found["events"] == n
        assert found["estimate"] == pytest.approx(n / r["left out", f"expected {clinic}"])


def test_corrected_is_apparent_less_optimism(judged: pl.DataFrame) -> None:
    for measure in ("concordance", "brier", "calibration_slope"):
        apparent, optimism, corrected = (
            only(judged, measure=measure, state=state)["estimate"]
            for state in ("apparent", "optimism", "corrected")
        )
        assert corrected == pytest.approx(apparent - optimism, rel=1e-12)


def test_influence_names_the_age_that_r_names(r: Values, judged: pl.DataFrame) -> None:
    """Without exposure the first term is looked at: here age, so that only the labels are told."""
    rows = judged.filter(pl.col("measure") == "odds_ratio_without", pl.col("state") == "age")
    assert len(rows) == 5
    assert rows["term"].unique().to_list() == ["age"]
    assert len(judged.filter(pl.col("state") == "clinic_id")) == 4


def test_weighted_and_penalised_models_are_judged_as_they_are(by_year: pl.DataFrame) -> None:
    extremes = pl.col("state").str.starts_with("unknown_")
    told = by_year.filter(pl.col("state").is_not_null() & ~extremes)
    assert told["model"].unique().to_list() == ["weighted_firth_logistic"]
    assert told["role"].unique().to_list() == ["exploratory"]
    corrected = only(by_year, measure="concordance", state="corrected")["estimate"]
    assert 0.45 < corrected < only(by_year, measure="concordance", state="apparent")["estimate"]
    clinics = by_year.filter(pl.col("measure") == "observed_expected")["group"].to_list()
    assert clinics == ["lake", "north", "valley"]


def test_a_ratio_that_hangs_on_a_clinics_own_term_is_still_told(by_year: pl.DataFrame) -> None:
    rows = by_year.filter(pl.col("state") == "clinic_id")
    assert rows["estimate"].null_count() == 0
    assert rows["estimate"].n_unique() == 3


def test_hosmer_and_lemeshow_test_only_on_request_and_with_a_caution(
    judged: pl.DataFrame, invented_cohort: pl.DataFrame
) -> None:
    assert judged.filter(pl.col("term") == "hosmer_lemeshow").is_empty()
    asked = run(invented_cohort, model="logistic", outcome="relux_by_365",
                adjust_for=["grade_preop"], diagnostics=["hosmer_lemeshow"])  # fmt: skip
    assert "depends_on_grouping" in only(asked, measure="test", term="hosmer_lemeshow")["concerns"]
    assert asked.filter(pl.col("state").is_not_null()).is_empty()


def test_one_clinic_leaves_nothing_to_leave_out(invented_cohort: pl.DataFrame) -> None:
    lake = invented_cohort.filter(pl.col("clinic_id") == "lake")
    found = run(lake, model="logistic", outcome="relux_by_365", adjust_for=["grade_preop"],
                diagnostics=["left_out", "discrimination"])  # fmt: skip
    assert only(found, measure="concordance", state="apparent")["estimate"] > 0
    assert found.filter(pl.col("state") == "left_out").is_empty()


def test_plan_names_what_can_be_asked() -> None:
    base = {"id": "x", "model": "logistic", "outcome": "y", "adjust_for": ["age"]}
    assert "hosmer_lemeshow" not in parse_analysis({**base, "diagnostics": True}).diagnostics
    assert parse_analysis({**base, "diagnostics": False}).diagnostics == ()
    with pytest.raises(PlanError, match="one of calibration, discrimination"):
        parse_analysis({**base, "diagnostics": ["fit"]})
