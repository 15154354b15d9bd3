"""Exact conditional odds ratios: every choice of rows counted out in R, and R's own exact tests."""

from importlib.resources import files

import numpy as np
import polars as pl
import pytest

from analysis.exact_logistic import ExactRatio, TooManyTotals, exact_logistic
from tests.analysis.r_values import ORACLES, r_values

R = r_values("binary_exact")
ROWS = pl.read_csv(ORACLES / "binary_exact_rows.csv")
RABBITS = pl.read_csv(str(files("shared") / "published" / "rabbits.csv"))
TABLES = {"tea": (3, 1, 1, 3), "twins": (2, 10, 15, 3), "fagerland": (7, 27, 1, 33)}


def levels(*values: int) -> np.ndarray:
    return np.column_stack([(ROWS["f"] == value).to_numpy().astype(float) for value in values])


def agrees(found: ExactRatio, group: str) -> None:
    """Against R to 1e-9; a quantity that R does not give is none here either."""
    for name, value in (
        ("low", found.low), ("high", found.high), ("median unbiased", found.median_unbiased),
        ("twice", found.p_twice), ("no likelier", found.p_no_likelier),
        ("totals", found.totals), ("ratio", found.odds_ratio),
    ):  # fmt: skip
        if (group, name) in R:
            assert value == pytest.approx(R[group, name], rel=1e-9), name
        else:
            assert value in (0.0, np.inf)


def test_other_terms_are_held_at_their_totals() -> None:
    """Four additive terms, 48,620 choices of 9 rows of 18 counted one by one."""
    x = np.column_stack([ROWS["a"], levels(2, 3), ROWS["g"]])
    names = ("a", "f2", "f3", "g")
    agrees(exact_logistic(x, ROWS["y"], "a", names=names), "additive exposure")
    agrees(exact_logistic(x, ROWS["y"], "g", names=names), "additive grade")


def test_an_empty_cell_has_one_limit_and_a_median_unbiased_ratio() -> None:
    y = ROWS["y"] * ROWS["a"]
    x = np.column_stack([ROWS["a"], levels(2, 3)])
    found = exact_logistic(x, y, "a", names=("a", "f2", "f3"))
    agrees(found, "empty cell")
    assert found.odds_ratio == found.high == np.inf
    other = exact_logistic(np.column_stack([1 - x[:, 0], x[:, 1:]]), y, "a", names=("a", "f", "g"))
    assert (other.odds_ratio, other.low) == (0.0, 0.0)
    assert other.high == pytest.approx(1 / found.low)
    assert other.median_unbiased == pytest.approx(1 / found.median_unbiased)


@pytest.mark.parametrize("name", TABLES)
def test_without_other_terms_it_is_fishers(name: str) -> None:
    a, b, c, d = TABLES[name]
    x = np.repeat([1.0, 1, 0, 0], (a, b, c, d))[:, None]
    found = exact_logistic(x, np.repeat([1, 0, 1, 0], (a, b, c, d)), "arm", names=("arm",))
    agrees(found, name)
    assert found.p_no_likelier == pytest.approx(R[name, "fisher p"], rel=1e-9)
    assert found.odds_ratio == pytest.approx(R[name, "fisher ratio"], rel=2e-4)  # R's own search


def test_one_factor_is_the_exact_test_of_mantel_and_haenszel() -> None:
    """Mantel 1963, rabbits with penicillin: R's mantelhaen.test(exact = TRUE)."""
    doses = [(RABBITS["dose"] == dose).to_numpy() for dose in ("1/8", "1/4", "1/2", "1")]
    x = np.column_stack([RABBITS["delay"] == "none", *doses]).astype(float)
    found = exact_logistic(x, RABBITS["cured"], "none", names=("none", *"abcd"))
    agrees(found, "rabbits counted")
    assert found.p_no_likelier == pytest.approx(R["rabbits", "p"], rel=1e-9)
    assert found.odds_ratio == pytest.approx(R["rabbits", "ratio"], rel=1e-4)
    assert found.low == pytest.approx(R["rabbits", "low"], rel=1e-4)


def test_a_total_that_cannot_change_tells_nothing() -> None:
    x = np.column_stack([[1.0, 1, 0, 0], [1, 1, 0, 0]])
    found = exact_logistic(x, [1, 0, 1, 0], "a", names=("a", "b"))
    assert np.isnan(found.odds_ratio)
    assert (found.low, found.high, found.p_twice, found.totals) == (0.0, np.inf, 1.0, 1)


def test_what_cannot_be_counted_is_named() -> None:
    y = np.arange(12) % 2
    with pytest.raises(ValueError, match="weight is not in whole numbers"):
        exact_logistic(np.arange(12)[:, None] / 7, y, "weight", names=("weight",))
    with pytest.raises(TooManyTotals, match="more than 5 different totals of its terms"):
        exact_logistic(np.arange(12)[:, None], y, "weight", names=("weight",), most_states=5)
