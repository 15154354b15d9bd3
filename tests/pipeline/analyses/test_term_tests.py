"""Tests of each term through a plan: likelihood ratio, score and Wald against R, and by cluster."""

from importlib.resources import files
from typing import Any

import polars as pl
import pytest

from tests.analysis.r_values import r_values
from tests.pipeline.analyses.asked import only, run

PUBLISHED = files("shared") / "published"
BIRTHS = pl.read_csv(str(PUBLISHED / "birthwt.csv")).with_columns(site=pl.int_range(pl.len()) // 2)
ENDOMETRIAL = pl.read_csv(str(PUBLISHED / "endometrial.csv")).with_columns(
    site=pl.int_range(pl.len()) // 2
)
LOW: dict[str, Any] = {
    "model": "logistic", "outcome": "low", "estimator": "maximum_likelihood",
    "adjust_for": ["smoke", "race", "age", "lwt"], "categorical": {"race": "1"},
    "spline": {"lwt": 3},
}  # fmt: skip
HISTOLOGY: dict[str, Any] = {"model": "logistic", "outcome": "HG", "adjust_for": ["NV", "PI", "EH"]}


def of(rows: pl.DataFrame, name: str, term: str, **more: str | float) -> dict[str, Any]:
    return only(rows, measure="test", term=name, level=term, **more)


def named(rows: pl.DataFrame, name: str) -> set[str]:
    found = rows.filter(pl.col("measure") == "test", pl.col("term") == name)
    return set(found["level"].drop_nulls())


def test_each_term_has_its_three_tests() -> None:
    r, rows = r_values("binary_dropped_terms"), run(BIRTHS, **LOW)
    for term, df in (("smoke", 1), ("race", 2), ("age", 1), ("lwt", 2)):
        for name in ("likelihood_ratio", "score", "wald"):
            row = of(rows, name, term, model="logistic")
            wanted = r["birthwt", f"{term} {name.replace('_', ' ')}"]
            assert row["statistic"] == pytest.approx(wanted, rel=1e-7)
            assert row["df"] == df


def test_with_clusters_only_robust_wald_tests_stand() -> None:
    rows = run(BIRTHS, **LOW, cluster="site")
    assert named(rows, "wald") == {"smoke", "race", "age", "lwt"}
    assert not named(rows, "score")
    assert not named(rows, "likelihood_ratio")
    row = of(rows, "wald", "age")
    ratio = only(rows, measure="coefficient", term="age")
    assert row["statistic"] == pytest.approx((ratio["estimate"] / ratio["std_error"]) ** 2)
    assert "robust errors by site" in row["method"]


def test_penalised_tests_need_no_finite_likelihood() -> None:
    r = r_values("binary_dropped_terms")
    rows = run(ENDOMETRIAL, **HISTOLOGY)
    for term in ("NV", "PI", "EH"):
        row = of(rows, "penalised_likelihood_ratio", term, model="firth_logistic")
        wanted = r["endometrial penalised", f"{term} penalised"]
        assert row["statistic"] == pytest.approx(wanted, rel=1e-6)
        assert "penalised" in row["concerns"]


def test_with_clusters_a_term_that_separates_is_tested_by_its_likelihood_alone() -> None:
    rows = run(ENDOMETRIAL, **HISTOLOGY, cluster="site")
    assert named(rows, "penalised_likelihood_ratio") == {"NV"}
    assert not named(rows, "wald")
    row = of(rows, "penalised_likelihood_ratio", "NV")
    assert {"clusters_ignored", "penalised"} <= set(row["concerns"].split(";"))


def test_terms_of_a_product_are_not_tested_without_it() -> None:
    asked = {**LOW, "spline": {}, "interactions": [["smoke", "race"]]}
    rows = run(BIRTHS, **asked)
    assert named(rows, "likelihood_ratio") == {"age", "lwt", "smoke:race"}
