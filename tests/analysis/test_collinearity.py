"""Variance inflation and the condition number: Longley's data, R."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.collinearity import condition_number, variance_inflation
from tests.analysis.r_values import Values, r_values

TERMS = ("GNP.deflator", "GNP", "Unemployed", "Armed.Forces", "Population", "Year")


@pytest.fixture(scope="module")
def r() -> Values:
    return r_values("binary_terms")


@pytest.fixture(scope="module")
def longley(oracles: Path) -> np.ndarray:
    """Sixteen years of the economy, Longley 1967 (R package datasets)."""
    return pl.read_csv(oracles / "binary_longley.csv").select(TERMS).to_numpy().astype(float)


def test_inflation_agrees_with_what_is_printed(
    longley: np.ndarray, r: Values, agrees: Callable[[float, str], bool]
) -> None:
    """Longley's data, printed in many texts: from memory; R agrees, diag(solve(cor(x)))."""
    found = variance_inflation(longley, TERMS)
    printed = ("135.53", "1788.51", "33.62", "3.59", "399.15", "758.98")
    for term, text in zip(TERMS, printed, strict=True):
        value, columns = found[term]
        assert columns == 1
        assert agrees(value, text)
        assert value == pytest.approx(r["longley", f"vif {term}"], rel=1e-6)


def test_condition_number_agrees_with_r(longley: np.ndarray, r: Values) -> None:
    """kappa(exact = TRUE) of columns of equal length, intercept included."""
    assert condition_number(longley) == pytest.approx(r["longley", "condition"], rel=1e-6)


def test_terms_of_several_columns_agree_with_r(birthwt: pl.DataFrame, r: Values) -> None:
    """Fox and Monette's determinants by hand; R squared of one column on the others."""
    columns = ("smoke", "race2", "race3", "age", "lwt")
    x = birthwt.select(columns).to_numpy().astype(float)
    found = variance_inflation(x, ("smoke", "race", "race", "age", "lwt"))
    assert found["race"] == (pytest.approx(r["birthwt", "gvif race"], rel=1e-9), 2)
    assert found["smoke"] == (pytest.approx(r["birthwt", "vif smoke"], rel=1e-9), 1)


def test_weights_count_as_copies(longley: np.ndarray) -> None:
    times = np.arange(16) % 3
    copied = np.repeat(longley, times, axis=0)
    assert condition_number(longley, weights=times) == pytest.approx(condition_number(copied))
    weighted, plain = (variance_inflation(x, TERMS, weights=w)
                       for x, w in ((longley, times), (copied, None)))  # fmt: skip
    assert weighted["GNP"][0] == pytest.approx(plain["GNP"][0], rel=1e-6)


def test_a_column_that_others_determine_is_infinite() -> None:
    x = np.array([[0.0, 1, 1], [1, 0, 1], [0, 0, 0], [1, 1, 2.0]])
    assert variance_inflation(x, ("a", "b", "sum"))["sum"][0] > 1e10
    assert condition_number(x) > 1e10
