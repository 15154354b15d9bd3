"""Bias-reduced errors through a plan: against R, and what they do not go with."""

from importlib.resources import files
from typing import Any

import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from shared.errors import PlanError
from shared.estimate import results_frame
from tests.analysis.r_values import r_values

BIRTHS = pl.read_csv(str(files("shared") / "published" / "birthwt.csv"))
PLAN: dict[str, Any] = {
    "id": "few", "model": "logistic", "outcome": "low", "cluster": "ftv", "variance": "CR2",
    "estimator": "maximum_likelihood", "adjust_for": ["smoke", "age", "lwt", "ht"],
}  # fmt: skip


def test_a_plan_gives_the_errors_and_degrees_of_r() -> None:
    r = r_values("binary_few_clusters")
    frame = results_frame(run_analysis(BIRTHS, parse_analysis(PLAN)).rows)
    for term in ("smoke", "age", "lwt", "ht"):
        row = frame.filter((pl.col("measure") == "coefficient") & (pl.col("term") == term))
        assert row["std_error"][0] == pytest.approx(r["birthwt by visits", f"se {term}"], rel=1e-6)
        assert row["df"][0] == pytest.approx(r["birthwt by visits", f"df {term}"], rel=1e-6)
        assert "CR2" in row["method"][0]
        assert "few_clusters" in row["concerns"][0]
    assert not len(frame.filter((pl.col("measure") == "test") & (pl.col("term") == "wald")))


def test_one_cluster_gives_no_number() -> None:
    rows = run_analysis(BIRTHS.with_columns(ftv=1), parse_analysis(PLAN)).rows
    results_frame(rows)
    ratios = [row for row in rows if row.measure in ("odds_ratio", "coefficient")]
    assert all(row.estimate is None and row.std_error is None for row in ratios)
    assert all("not_identified" in row.concerns for row in ratios)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"cluster": None}, "needs a cluster"),
        ({"estimator": None}, "needs estimator"),
        ({"spline": {"age": 4}}, "cannot be used with spline"),
        ({"missing_outcome": "observation_weights"}, "observation weights"),
        ({"variance": "CR3"}, '"variance" must be one of CR1, CR2'),
    ],
)
def test_what_it_does_not_go_with_is_refused(change: dict[str, Any], message: str) -> None:
    plan = {key: value for key, value in (PLAN | change).items() if value is not None}
    with pytest.raises(PlanError, match=message):
        run_analysis(BIRTHS, parse_analysis(plan))
