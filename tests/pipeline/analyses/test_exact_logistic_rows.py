"""Exact odds ratios through `sulca fit`: rows, the empty cell, limits of size, what is refused."""

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.fit import fit_table
from pipeline.plan import parse_analysis
from pipeline.report.text import estimate_and_interval
from shared.errors import PlanError
from shared.files import write_text
from tests.analysis.r_values import ORACLES, r_values
from tests.pipeline.analyses.asked import only, run

ROWS = pl.read_csv(ORACLES / "binary_exact_rows.csv")
PLAN: dict[str, Any] = {
    "model": "logistic", "outcome": "y", "exposure": "a", "levels": [0, 1],
    "adjust_for": ["f", "g"], "categorical": {"f": "1"}, "estimator": "exact",
}  # fmt: skip


def test_sulca_fit_gives_the_exact_ratio_and_its_test(tmp_path: Path) -> None:
    r = r_values("binary_exact")
    ROWS.write_csv(tmp_path / "rows.csv")
    write_text(
        tmp_path / "plan.toml",
        '[[analysis]]\nid = "x"\nmodel = "logistic"\noutcome = "y"\nexposure = "a"\n'
        'levels = [0, 1]\nadjust_for = ["f", "g"]\ncategorical = { f = "1" }\n'
        'estimator = "exact"\n',
    )
    fit_table(tmp_path / "rows.csv", tmp_path / "plan.toml", tmp_path / "out")
    rows = pl.read_parquet(tmp_path / "out" / "results.parquet")
    row = only(rows, measure="odds_ratio", level="1", adjustment="adjusted")
    for field, name in (("estimate", "ratio"), ("low", "low"), ("high", "high"),
                        ("p_value", "twice")):  # fmt: skip
        assert row[field] == pytest.approx(r["additive exposure", name], rel=1e-9)
    test = only(rows, measure="test", term="exact", adjustment="adjusted")
    assert test["p_value"] == pytest.approx(r["additive exposure", "no likelier"], rel=1e-9)
    assert set(rows["adjustment"].drop_nulls()) == {"crude", "adjusted"}
    assert not (tmp_path / "out" / "refit" / "x.R").exists()


def test_an_empty_cell_is_median_unbiased_and_open_above() -> None:
    rows = run(ROWS.with_columns(y=pl.col("a") * pl.col("y")), **(PLAN | {"adjust_for": ["f"]}))
    row = only(rows, measure="odds_ratio", level="1", adjustment="adjusted")
    assert row["estimate"] == pytest.approx(r_values("binary_exact")["empty cell",
                                                                    "median unbiased"])  # fmt: skip
    assert row["low"] > 1
    assert row["high"] is None
    assert "separation" in row["concerns"]
    assert "median unbiased" in row["method"]
    swapped = run(ROWS.with_columns(y=pl.col("a") * pl.col("y")),
                  **(PLAN | {"adjust_for": ["f"], "levels": [1, 0]}))  # fmt: skip
    assert only(swapped, measure="odds_ratio", level="0", adjustment="adjusted")["low"] == 0


def test_clusters_are_said_to_be_ignored_and_copies_to_have_no_number() -> None:
    frame = ROWS.with_columns(animal_id=pl.int_range(pl.len()) // 2, copy=1 - pl.col("a"))
    rows = run(frame, **(PLAN | {"adjust_for": ["copy"], "categorical": {}}))
    crude = only(rows, measure="odds_ratio", level="1", adjustment="crude")
    assert "clusters_ignored" in crude["concerns"]
    both = only(rows, measure="odds_ratio", level="1", adjustment="adjusted")
    assert both["estimate"] is None
    assert "collinear;not_identified" in both["concerns"]


def test_no_events_tell_nothing() -> None:
    row = only(run(ROWS.with_columns(y=0), **PLAN), measure="odds_ratio", level="1",
               adjustment="adjusted")  # fmt: skip
    assert row["estimate"] is None
    assert "not_identified" in row["concerns"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"adjustments": ["standardised"]}, "exact estimation gives no risks"),
        ({"spline": {"g": 3}}, "cannot be used with spline"),
        ({"missing_outcome": "observation_weights"}, "observation weights"),
        ({"variance": "CR1", "cluster": "f"}, "cannot be used with variance"),
        ({"model": "cox", "time": "g", "event": "y", "outcome": None}, 'no estimator "exact"'),
        ({"per": {"g": 0.7}}, "g is not in whole numbers"),
    ],
)
def test_what_it_does_not_go_with_is_refused(change: dict[str, Any], message: str) -> None:
    plan = {key: value for key, value in ({"id": "x"} | PLAN | change).items() if value is not None}
    with pytest.raises(PlanError, match=message):
        run_analysis(ROWS, parse_analysis(plan))


def test_a_table_too_large_names_its_size() -> None:
    many = pl.concat([ROWS] * 40).with_columns(
        g=pl.int_range(720) ** 2 % 997, h=pl.int_range(720) ** 3 % 991
    )
    plan = parse_analysis({"id": "x", **(PLAN | {"adjust_for": ["f", "g", "h"]})})
    with pytest.raises(
        PlanError, match="720 rows with 5 terms: the table leaves more than 200,000"
    ):
        run_analysis(many, plan)


def test_an_open_limit_is_printed_in_words() -> None:
    rows = run_analysis(
        ROWS.with_columns(y=pl.col("a") * pl.col("y")), parse_analysis({"id": "x", **PLAN})
    ).rows
    row = next(row for row in rows if row.measure == "odds_ratio" and row.level == "1")
    assert estimate_and_interval(row).endswith(" or more)")
