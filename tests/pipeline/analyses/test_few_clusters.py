"""Bias-reduced errors through a plan: against R, and what they do not go with."""

import math
from importlib.resources import files
from typing import Any

import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from pipeline.report.text import estimate_and_interval
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


def test_a_plan_gives_limits_and_p_of_the_wild_bootstrap() -> None:
    r = r_values("binary_wild")
    wild = {"variance": "wild_bootstrap", "adjust_for": ["smoke", "lwt", "ht"], "per": {"lwt": 50}}
    frame = results_frame(run_analysis(BIRTHS, parse_analysis(PLAN | wild)).rows)
    for term in ("smoke", "lwt", "ht"):
        row = frame.filter((pl.col("measure") == "coefficient") & (pl.col("term") == term))
        ratio = frame.filter((pl.col("measure") == "odds_ratio") & (pl.col("term") == term))
        assert row["p_value"][0] == pytest.approx(r["by visits", f"{term} p"])
        for side in ("low", "high"):
            known = r.get(("by visits", f"{term} {side}"))
            assert row[side][0] == (None if known is None else pytest.approx(known, rel=1e-6))
            if known is not None:
                assert ratio[side][0] == pytest.approx(math.exp(known), rel=1e-5)
        assert row["std_error"][0] is None
        assert "wild bootstrap of scores by ftv: all 64 vectors" in row["method"][0]
        assert "open_limit" in row["concerns"][0]  # six clusters: one end each
    assert not len(frame.filter((pl.col("measure") == "test") & (pl.col("term") == "wald")))


def test_drawn_vectors_hang_on_the_seed_alone() -> None:
    webb = {"variance": "wild_bootstrap_webb", "adjust_for": ["smoke"]}
    first, again, other = (
        run_analysis(BIRTHS, parse_analysis(PLAN | webb | {"seed": seed})).rows
        for seed in (3, 3, 4)
    )
    assert first == again
    assert first != other
    assert "9999 vectors drawn, seed 3" in (first[0].method or "")


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
        ({"variance": "wild_bootstrap", "cluster": None}, '"wild_bootstrap" needs a cluster'),
    ],
)
def test_what_it_does_not_go_with_is_refused(change: dict[str, Any], message: str) -> None:
    plan = {key: value for key, value in (PLAN | change).items() if value is not None}
    with pytest.raises(PlanError, match=message):
        run_analysis(BIRTHS, parse_analysis(plan))


def test_open_limits_are_printed_in_words() -> None:
    wild = {"variance": "wild_bootstrap", "adjust_for": ["smoke", "ht"]}
    rows = run_analysis(BIRTHS, parse_analysis(PLAN | wild)).rows
    smoke, ht = (
        estimate_and_interval(row)
        for name in ("smoke", "ht")
        for row in rows
        if (row.measure, row.term) == ("odds_ratio", name)
    )
    assert smoke.endswith(" or less)")
    assert ht.endswith(" or more)")
