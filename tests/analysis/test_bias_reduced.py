"""Bias-reduced cluster variance against R from its definition, and what must hold of it."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import t

from analysis.bias_reduced import BiasReduced, bias_reduced
from analysis.logistic import fit_logistic
from tests.analysis.r_values import r_values

R = r_values("binary_few_clusters")
ROOT = Path(__file__).parents[2]
BIRTHS = pl.read_csv(ROOT / "shared" / "published" / "birthwt.csv").with_columns(
    (pl.col("race") == 2).cast(pl.Int64).alias("factor(race)2"),
    (pl.col("race") == 3).cast(pl.Int64).alias("factor(race)3"),
)
NEW, MALE = 'I(treatment == "treatment")TRUE', 'I(sex == "male")TRUE'
VISITS = pl.read_csv(ROOT / "tests" / "oracles" / "binary_respiratory.csv").filter(
    pl.col("month") > 0
).select(
    "age", "subject", (pl.col("treatment") == "treatment").cast(pl.Int64).alias(NEW),
    (pl.col("sex") == "male").cast(pl.Int64).alias(MALE),
    (pl.col("status") == "good").cast(pl.Int64).alias("good"),
)  # fmt: skip


def reduced(frame: pl.DataFrame, names: list[str], outcome: str, cluster: str) -> BiasReduced:
    x, y = frame[names].to_numpy(), frame[outcome].to_numpy()
    return bias_reduced(fit_logistic(x, y), x, y, cluster=frame[cluster].to_numpy())


@pytest.mark.parametrize(
    ("group", "frame", "names", "outcome", "cluster"),
    [
        ("birthwt by age", BIRTHS, ["smoke", "age", "lwt", "ht"], "low", "age"),
        ("birthwt by visits", BIRTHS, ["smoke", "age", "lwt", "ht"], "low", "ftv"),
        ("birthwt within race", BIRTHS, ["smoke", "lwt", "factor(race)2", "factor(race)3"],
         "low", "race"),
        ("respiratory", VISITS, [NEW, "age", MALE], "good", "subject"),
    ],
)  # fmt: skip
def test_errors_and_degrees_agree_with_r(
    group: str, frame: pl.DataFrame, names: list[str], outcome: str, cluster: str
) -> None:
    found = reduced(frame, names, outcome, cluster)
    errors = np.sqrt(np.diag(found.covariance))
    terms = ["intercept", *names]
    values = {f"se {name}": value for name, value in zip(terms, errors, strict=True)}
    values |= {f"df {name}": value for name, value in zip(terms, found.df, strict=True)}
    assert values == pytest.approx({key: R[group, key] for key in values}, rel=1e-6)


def test_equal_rows_of_one_mean_have_the_textbook_variance() -> None:
    """An intercept alone, G clusters of m: CR2 is the variance of cluster means, df is G - 1."""
    y = np.array([1, 0, 0, 1, 1, 1, 0, 0, 0, 1, 0, 0], dtype=float)
    group = np.repeat([0, 1, 2, 3], 3)
    found = bias_reduced(fit_logistic(np.empty((12, 0)), y), np.empty((12, 0)), y, cluster=group)
    means, p = y.reshape(4, 3).mean(axis=1), y.mean()
    assert found.df[0] == pytest.approx(3)
    expected = means.var(ddof=1) / 4 / (p * (1 - p)) ** 2
    assert found.covariance[0, 0] == pytest.approx(expected)


def test_limits_are_wider_than_those_of_a_large_sample() -> None:
    found = reduced(BIRTHS, ["smoke", "age", "lwt", "ht"], "low", "ftv")
    errors = np.sqrt(np.diag(found.covariance))
    assert found.half_widths(0.95) == pytest.approx(t.ppf(0.975, found.df) * errors)
    assert (found.half_widths(0.95) > 1.96 * errors).all()


def test_a_shift_of_a_term_changes_only_the_intercept() -> None:
    moved = BIRTHS.with_columns(pl.col("age") + 2000)
    names = ["smoke", "age", "lwt", "ht"]
    one, other = (reduced(frame, names, "low", "ftv") for frame in (BIRTHS, moved))
    assert other.df[1:] == pytest.approx(one.df[1:], rel=1e-7)
    assert np.diag(other.covariance)[1:] == pytest.approx(np.diag(one.covariance)[1:], rel=1e-7)


def test_one_cluster_tells_nothing() -> None:
    found = reduced(BIRTHS.with_columns(one=1), ["smoke", "lwt"], "low", "one")
    assert np.isnan(found.df).all()
    assert np.isnan(found.covariance).all()


def test_a_fit_without_numbers_is_refused() -> None:
    x, y = np.arange(6.0)[:, None], np.zeros(6)
    with pytest.raises(ValueError, match="must have converged"):
        bias_reduced(fit_logistic(x, y), x, y, cluster=np.arange(6))
