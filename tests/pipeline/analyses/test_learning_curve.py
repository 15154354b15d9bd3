"""The curve of a number beside random intercepts, as for a surgeon's running case number."""

from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis.chi_square import normal_quantile
from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from tests.analysis.r_values import ORACLES, r_values

LEARNING: dict[str, Any] = {
    "id": "learning", "model": "mixed_logistic", "outcome": "reluxation",
    "adjust_for": ["surgeon_case_no", "grade"], "adjustments": ["adjusted"],
    "spline": {"surgeon_case_no": 4}, "random_intercept": "surgeon_id",
}  # fmt: skip


def curve_of(frame: pl.DataFrame, **asked: object) -> pl.DataFrame:
    return run_analysis(frame, parse_analysis({**LEARNING, **asked})).curves.sort("at")


def test_curve_and_band_as_lme4_has_them() -> None:
    """glmer(nAGQ = 25), Harrell's spline written out; its errors come from differences (1e-3)."""
    frame = pl.read_csv(ORACLES / "binary_respiratory.csv").with_columns(
        reluxation=(pl.col("status") == "good").cast(pl.Int64)
    )
    points = curve_of(
        frame, adjust_for=["age", "treatment"], spline={"age": 4}, random_intercept="subject",
        categorical={"treatment": "placebo"},
    )  # fmt: skip
    right = r_values("binary_learning_curve")
    assert points["state"].unique().to_list() == ["age"]
    assert len(points) == 41
    for number, place in enumerate((0, 7, 14, 21, 28, 35, 40), start=1):
        point, name = points.row(place, named=True), f"place {number}"
        error = right["error", name]
        assert point["at"] == pytest.approx(right["ages", name], rel=1e-12)
        middle = np.log(point["estimate"])
        assert middle == pytest.approx(right["log odds ratio", name], abs=2e-4 * error)
        half = (np.log(point["high"]) - np.log(point["low"])) / 2
        assert half == pytest.approx(normal_quantile(0.95) * error, rel=1e-3)


@pytest.fixture(scope="module")
def series() -> pl.DataFrame:
    """Invented: 40 surgeons with 5 to 80 cases; the log odds fall by 0.03 with each case."""
    draw = np.random.default_rng(3)
    counts = draw.integers(5, 80, 40)
    surgeon = np.repeat(np.arange(40), counts)
    case = np.concatenate([np.arange(count) + 1 for count in counts])
    log_odds = 0.5 - 0.03 * case + 0.6 * draw.normal(size=40)[surgeon]
    return pl.DataFrame({
        "surgeon_id": [f"s{one:02d}" for one in surgeon], "surgeon_case_no": case,
        "grade": draw.integers(1, 4, len(case)),
        "reluxation": (draw.random(len(case)) < 1 / (1 + np.exp(-log_odds))).astype(int),
    })  # fmt: skip


def test_a_curve_of_learning_falls_as_it_was_invented(series: pl.DataFrame) -> None:
    points = curve_of(series)
    middle = float(series["surgeon_case_no"].cast(pl.Float64).quantile(0.5, "linear") or 0)
    true = np.exp(-0.03 * (points["at"].to_numpy() - middle))
    inside = (points["low"].to_numpy() <= true) & (true <= points["high"].to_numpy())
    assert inside.mean() > 0.9
    at_median = points.sort((pl.col("at") - middle).abs()).row(0, named=True)
    assert at_median["estimate"] == pytest.approx(1, abs=0.03)


def test_equations_for_clusters_have_a_curve_too_and_a_model_without_a_fit_none(
    series: pl.DataFrame,
) -> None:
    asked = {key: value for key, value in LEARNING.items() if key != "random_intercept"}
    plan = {**asked, "model": "gee_logistic", "cluster": "surgeon_id"}
    points = run_analysis(series, parse_analysis(plan)).curves
    assert len(points) == 41
    assert (points["low"] <= points["estimate"]).all()
    alone = series.group_by("surgeon_id", maintain_order=True).head(1)
    assert curve_of(alone.with_columns(surgeon_case_no=pl.int_range(pl.len()))).is_empty()
