"""`sulca fit` of competing risks, days between visits and models of log time: published numbers."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.fit import fit_table
from shared.errors import PlanError

PUBLISHED = Path(__file__).parents[3] / "shared" / "published"
SUBDISTRIBUTION = """
[[analysis]]
id = "crr"
model = "fine_gray"
time = "time"
event = "cause"
event_of_interest = "1"
competing = ["2"]
censored = "0"
adjust_for = ["cv1", "cv2", "cv3"]
ties = "breslow"

[[analysis]]
id = "gray"
model = "fine_gray"
time = "time"
event = "cause"
event_of_interest = "1"
competing = ["2"]
censored = "0"
exposure = "group"
categorical = { group = "a" }
"""
BETWEEN = """
[[analysis]]
id = "cosmesis"
model = "interval_censored"
left = "left"
right = "right"
exposure = "treatment"
categorical = { treatment = "Rad" }
horizon = [8, 20]
resamples = 20
"""


def fit(folder: Path, table: str, plan: str) -> pl.DataFrame:
    (folder / "plan.toml").write_text(plan)
    fit_table(PUBLISHED / table, folder / "plan.toml", folder / "out")
    return pl.read_parquet(folder / "out" / "results.parquet")


def test_subdistribution_hazards_of_the_reference_table(tmp_path: Path) -> None:
    """Reference output of the tests of the R package cmprsk, verified (four digits)."""
    rows = fit(tmp_path, "cmprsk_reference.csv", SUBDISTRIBUTION)
    found = rows.filter(pl.col("analysis") == "crr", pl.col("measure") == "coefficient")
    assert found["estimate"].round(4).to_list() == [-0.2913, -0.0635, -0.4751]
    assert found["std_error"].round(4).to_list() == [0.3698, 0.3566, 0.3544]
    ratios = rows.filter(
        pl.col("analysis") == "crr", pl.col("measure") == "subdistribution_hazard_ratio"
    )
    assert np.log(ratios["estimate"].to_numpy()) == pytest.approx(found["estimate"].to_numpy())


def test_gray_s_test_stands_beside_the_arms(tmp_path: Path) -> None:
    """cmprsk::cuminc without strata, computed: 4.18848 with 2 degrees of freedom."""
    rows = fit(tmp_path, "cmprsk_reference.csv", SUBDISTRIBUTION)
    test = rows.filter(pl.col("analysis") == "gray", pl.col("term") == "gray").row(0, named=True)
    assert test["statistic"] == pytest.approx(4.1884768710931, rel=1e-9)
    assert test["df"] == 2


def test_risks_between_visits_of_breast_cosmesis(tmp_path: Path) -> None:
    """Masses of Fay & Shaw 2010, verified: 0.0463 + 0.0334 + 0.0887 by week 8 with Rad."""
    rows = fit(tmp_path, "bcos.csv", BETWEEN)
    risks = rows.filter(pl.col("group") == "turnbull Rad")
    by_8, by_20 = risks.sort("day").iter_rows(named=True)
    assert by_8["estimate"] == pytest.approx(0.0463 + 0.0334 + 0.0887, abs=1.5e-4)
    assert by_20["estimate"] == pytest.approx(0.0463 + 0.0334 + 0.0887 + 0.0708, abs=2e-4)
    assert by_8["low"] < by_8["estimate"] < by_8["high"]
    curve = pl.read_parquet(tmp_path / "out" / "curves.parquet").filter(pl.col("group") == "Rad")
    assert curve["day"].to_list() == [0, 5, 7, 8, 12, 25, 34, 40, 48]


def test_all_distributions_are_compared_where_the_plan_names_none(tmp_path: Path) -> None:
    """survreg on the same intervals, computed: log likelihood -143.3208 (Weibull)."""
    rows = fit(tmp_path, "bcos.csv", BETWEEN)
    likelihood = rows.filter(pl.col("measure") == "log_likelihood")
    assert likelihood["group"].to_list() == [
        "weibull", "lognormal", "loglogistic", "generalised_gamma",
    ]  # fmt: skip
    aic = dict(rows.filter(pl.col("measure") == "aic").select("group", "estimate").iter_rows())
    assert aic["weibull"] == pytest.approx(2 * 3 + 2 * 143.320827109903, rel=1e-9)  # R's survreg
    assert aic["generalised_gamma"] == pytest.approx(2 * 4 + 2 * 142.8453111628827, rel=1e-9)
    curves = pl.read_parquet(tmp_path / "out" / "curves.parquet")
    drawn = curves.filter(pl.col("curve").is_in(["parametric", "without_model"]))
    assert drawn["group"].unique().sort(nulls_last=True).to_list() == [
        "generalised_gamma", "loglogistic", "lognormal", "weibull", None,
    ]  # fmt: skip
    assert likelihood["estimate"][0] == pytest.approx(-143.320827109903, rel=1e-8)
    ratio = rows.filter(
        pl.col("measure") == "hazard_ratio", pl.col("estimate").is_not_null()
    ).row(0, named=True)  # fmt: skip
    assert np.log(ratio["estimate"]) == pytest.approx(0.567550536563053 / 0.619339705211414)


def test_an_interval_turned_round_is_named(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("left,right\n1,2\n5,4\n3,\n")
    (tmp_path / "plan.toml").write_text(BETWEEN.split("exposure")[0] + "horizon = [3]\n")
    with pytest.raises(PlanError, match="right is before left in 1 row, first in row 3"):
        fit_table(tmp_path / "t.csv", tmp_path / "plan.toml", tmp_path / "out")
