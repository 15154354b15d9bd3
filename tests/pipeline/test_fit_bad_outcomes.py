"""What `sulca fit` of a logistic model says where the data allow no fit, or less of one."""

from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.fit import fit_table
from shared.errors import PlanError

ROWS = 60
TABLE = pl.DataFrame({
    "y": [int(row % 3 == 0) for row in range(ROWS)], "arm": ["a", "b"] * (ROWS // 2),
    "age": [row * 7 % 11 for row in range(ROWS)], "animal": [f"r{row}" for row in range(ROWS)],
})  # fmt: skip
PLAN = """[[analysis]]
id = "x"
model = "logistic"
outcome = "y"
exposure = "arm"
levels = ["a", "b"]
adjustments = ["adjusted"]
"""
Fit = Callable[..., pl.DataFrame]


@pytest.fixture
def fit(tmp_path: Path) -> Fit:
    def fit_it(table: pl.DataFrame, plan: str = 'adjust_for = ["age"]\n') -> pl.DataFrame:
        table.write_csv(tmp_path / "table.csv")
        (tmp_path / "plan.toml").write_text(PLAN + plan, "utf-8")
        fit_table(tmp_path / "table.csv", tmp_path / "plan.toml", tmp_path / "out")
        return pl.read_parquet(tmp_path / "out" / "results.parquet")

    return fit_it


def ratios(rows: pl.DataFrame) -> pl.DataFrame:
    return rows.filter(pl.col("measure") == "odds_ratio", pl.col("level").is_null()
                       | (pl.col("level") != pl.col("reference")))  # fmt: skip


@pytest.mark.parametrize(
    ("change", "plan", "concern", "named"),
    [
        (pl.lit(0).alias("y"), '["age"]', "no_events", ""),
        (pl.lit(1).alias("y"), '["age"]', "not_identified", ""),
        (pl.lit(4).alias("age"), '["age"]', "not_identified", "age is the same in every row"),
        ((2 * pl.col("age") + 1).alias("two"), '["age", "two"]', "collinear",
         "two is determined by"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("estimator", ["maximum_likelihood", "penalised"])
def test_no_fit_gives_no_number_and_says_why(
    fit: Fit, change: pl.Expr, plan: str, concern: str, named: str, estimator: str
) -> None:
    rows = ratios(fit(TABLE.with_columns(change),
                      f'adjust_for = {plan}\nestimator = "{estimator}"\n'))  # fmt: skip
    assert len(rows)
    assert rows["estimate"].null_count() == rows["low"].null_count() == len(rows)
    assert rows["concerns"].str.contains(concern).all()
    assert rows["method"].str.contains(named, literal=True).all()


def test_one_level_is_named(fit: Fit) -> None:
    with pytest.raises(PlanError, match="arm"):
        fit(TABLE.with_columns(arm=pl.lit("a")))


def test_rows_without_a_term_are_left_out_and_counted(fit: Fit) -> None:
    gaps = pl.when(pl.int_range(ROWS) < 5).then(None).otherwise("age").alias("age")
    rows = fit(TABLE.with_columns(gaps))
    missing = rows.filter(pl.col("term") == "missing", pl.col("level") == "age")
    assert set(missing["estimate"]) == {5.0}
    assert set(ratios(rows)["n"]) == {ROWS - 5}
    assert set(ratios(rows)["n_dropped"]) == {5}


def test_a_cluster_a_row_is_whites_sandwich_and_no_concern(fit: Fit) -> None:
    rows = ratios(fit(TABLE, 'adjust_for = ["age"]\ncluster = "animal"\n'
                             'estimator = "maximum_likelihood"\n'))  # fmt: skip
    assert set(rows["clusters"]) == {ROWS}
    assert rows["estimate"].null_count() == 0
    assert not rows["concerns"].str.contains("clusters_ignored").any()


def test_negative_weights_are_refused_by_column_and_row(fit: Fit) -> None:
    weighted = TABLE.with_columns(w=pl.int_range(ROWS) - 3)
    with pytest.raises(PlanError, match='"w" is negative in 3 rows, first in row 2'):
        fit(weighted, 'adjust_for = ["age"]\nweights = "w"\n')
