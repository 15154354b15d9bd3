"""Terms through a plan: interactions, curves, logarithms, profiles, collinearity, against R."""

from importlib.resources import files
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from shared.errors import PlanError
from tests.analysis.r_values import Values, r_values
from tests.pipeline.analyses.asked import only, run
from tests.pipeline.analyses.conftest import BY_YEAR

BIRTHS = pl.read_csv(str(files("shared") / "published" / "birthwt.csv"))
LOW: dict[str, Any] = {
    "model": "logistic", "outcome": "low", "estimator": "maximum_likelihood", "exposure": "smoke",
    "levels": [0, 1], "adjust_for": ["race", "age"], "categorical": {"race": "1"},
    "adjustments": ["adjusted"],
}  # fmt: skip


@pytest.fixture(scope="module")
def r() -> Values:
    return r_values("binary_terms")


@pytest.fixture(scope="module")
def by_race() -> pl.DataFrame:
    return run(BIRTHS, **LOW, interactions=[["race", "smoke"]])


def test_effect_of_the_exposure_is_told_in_each_level(by_race: pl.DataFrame, r: Values) -> None:
    for race in ("1", "2", "3"):
        row = only(by_race, measure="odds_ratio_at", group=f"race={race}")
        assert (row["term"], row["level"], row["reference"]) == ("smoke", "1", "0")
        assert row["estimate"] == pytest.approx(r["smoke by race", f"{race} ratio"], rel=1e-8)
        assert row["low"] == pytest.approx(r["smoke by race", f"{race} low"], rel=1e-7)
        assert row["high"] == pytest.approx(r["smoke by race", f"{race} high"], rel=1e-7)


def test_product_is_tested_by_wald_and_by_likelihood(by_race: pl.DataFrame, r: Values) -> None:
    for name in ("wald", "likelihood_ratio"):
        row = only(by_race, measure="test", term=f"interaction_{name}")
        wanted = r["smoke by race", name.replace("_", " ")]
        assert row["statistic"] == pytest.approx(wanted, rel=1e-7)
        assert (row["df"], row["level"]) == (2, "race:smoke")


def test_ratio_at_the_reference_of_the_other_term_says_so(by_race: pl.DataFrame) -> None:
    row = only(by_race, measure="odds_ratio", term="smoke", level="1")
    assert "depends_on_other" in row["concerns"]
    assert "depends_on_other" not in only(by_race, measure="odds_ratio", term="age")["concerns"]


def test_clusters_make_the_errors_robust(r: Values) -> None:
    rows = run(BIRTHS, **LOW, interactions=[["smoke", "race"]], cluster="age")
    row = only(rows, measure="odds_ratio_at", group="race=2")
    wanted = r["smoke by race robust", "2 se"]
    assert row["std_error"] == pytest.approx(wanted, rel=1e-8)
    assert "clusters_ignored" in only(rows, term="interaction_likelihood_ratio")["concerns"]


def test_effect_at_the_quartiles_of_a_number(r: Values) -> None:
    asked = {**LOW, "adjust_for": ["lwt"], "categorical": {}, "per": {"lwt": 10},
             "centre": {"lwt": 130}}  # fmt: skip
    rows = run(BIRTHS, **asked, interactions=[["smoke", "lwt"]])
    for weight in (110, 121, 140):
        row = only(rows, measure="odds_ratio_at", group=f"lwt={weight}")
        wanted = r["smoke by weight", f"{weight} ratio"]
        assert row["estimate"] == pytest.approx(wanted, rel=1e-7)
    main = only(rows, measure="coefficient", term="smoke")
    assert main["estimate"] == pytest.approx(r["smoke by weight", "smoke"], rel=1e-7)


def test_curve_of_a_spline_goes_through_one_at_the_median() -> None:
    asked = {**LOW, "adjust_for": ["lwt"], "categorical": {}, "spline": {"lwt": 4}}
    fitted = run_analysis(BIRTHS, parse_analysis({"id": "x", **asked}))
    points = fitted.curves.filter(pl.col("curve") == "spline")
    assert points["state"].unique().to_list() == ["lwt"]
    middle = float(np.median(BIRTHS["lwt"].to_numpy()))
    near = points.sort((pl.col("at") - middle).abs()).row(0, named=True)
    assert near["estimate"] == pytest.approx(1, abs=0.05)
    assert (points["low"] <= points["estimate"]).all()
    assert (points["estimate"] <= points["high"]).all()


def test_ratio_per_doubling_through_a_plan(r: Values) -> None:
    rows = run(BIRTHS, model="logistic", outcome="low", estimator="maximum_likelihood",
               adjust_for=["lwt"], log={"lwt": 2})  # fmt: skip
    row = only(rows, measure="odds_ratio", term="lwt")
    assert row["estimate"] == pytest.approx(r["doubling", "ratio"], rel=1e-9)
    assert row["unit"] == "per doubling"


def test_risks_of_profiles(r: Values) -> None:
    rows = run(BIRTHS, **LOW, profiles={"young": {"smoke": 1, "age": 18}, "old": {"age": 80}})
    row = only(rows, measure="profile_risk", group="young")
    assert (row["term"], row["level"]) == ("smoke", "1")
    for field, name in (("estimate", "risk"), ("low", "low"), ("high", "high")):
        assert row[field] == pytest.approx(r["profile", f"smoker of 18 {name}"], rel=1e-7)
    both = rows.filter(pl.col("measure") == "profile_risk", pl.col("group") == "old")
    assert both["level"].to_list() == ["0", "1"]
    assert both["concerns"].str.contains("beyond_data").all()


def test_terms_that_say_the_same_are_named(r: Values) -> None:
    births = BIRTHS.with_columns(pounds=pl.col("lwt") * 1.0 + (pl.col("age") % 3))
    asked = {**LOW, "adjust_for": ["race", "age", "lwt", "pounds"]}
    rows = run(births, **asked, diagnostics=["collinearity"])
    inflation = rows.filter(pl.col("measure") == "variance_inflation")
    assert inflation["term"].to_list() == ["smoke", "race", "age", "lwt", "pounds"]
    named = inflation.filter(pl.col("concerns").str.contains("collinear"))["term"].to_list()
    assert named == ["lwt", "pounds"]
    assert only(rows, measure="condition_number")["estimate"] > 30
    plain = run(BIRTHS, **{**LOW, "adjust_for": ["race", "age", "lwt"]},
                diagnostics=["collinearity"])  # fmt: skip
    race = only(plain, measure="variance_inflation", term="race")
    assert race["estimate"] == pytest.approx(r["birthwt", "gvif race"], rel=1e-9)
    assert race["df"] == 2


def test_weighted_penalised_models_have_interactions_too(invented_cohort: pl.DataFrame) -> None:
    rows = run(invented_cohort, model="logistic", **BY_YEAR,
               interactions=[["sulcoplasty_type", "grade_preop"]])  # fmt: skip
    at = rows.filter(pl.col("measure") == "odds_ratio_at")
    assert at["model"].unique().to_list() == ["weighted_firth_logistic"]
    assert at["group"].to_list() == [f"grade_preop={grade}" for grade in (2, 3, 4)]
    assert len(rows.filter(pl.col("measure") == "risk", pl.col("state").is_null())) == 4


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"interactions": [["smoke", "agee"]]}, 'interactions names "agee"'),
        ({"interactions": [["smoke"]]}, "lists of two columns"),
        ({"interactions": [["smoke", "age"]], "spline": {"age": 3}}, "cannot interact"),
        ({"profiles": {"x": {"wait": 1}}}, 'the profile "x" names "wait"'),
        ({"log": {"age": 2}, "per": {"age": 5}}, "both a logarithm and a unit"),
        ({"centre": {"race": 1}}, "both categorical and a number"),
    ],
)
def test_what_cannot_be_is_refused_by_name(asked: dict[str, Any], message: str) -> None:
    with pytest.raises(PlanError, match=message):
        parse_analysis({"id": "x", **LOW, **asked})
