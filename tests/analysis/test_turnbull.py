"""Turnbull's estimate: published masses, the product-limit estimate, and odd intervals."""

from collections.abc import Callable

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.survival import kaplan_meier
from analysis.turnbull import risk_between, turnbull
from tests.analysis.r_values import ORACLES
from tests.analysis.test_incidence import PUBLISHED

Agrees = Callable[[float, str], bool]
MASSES = {
    "Rad": {(4, 5): "0.0463", (6, 7): "0.0334", (7, 8): "0.0887", (11, 12): "0.0708",
            (24, 25): "0.0926", (33, 34): "0.0818", (46, 48): "0.4656"},
    "RadChem": {(4, 5): "0.0433", (5, 8): "0.0433", (11, 12): "0.0692", (24, 25): "0.0999",
                (30, 31): "0.0709", (44, 48): "0.0552", (48, 60): "0.0552"},
}  # fmt: skip


@pytest.mark.parametrize("arm", list(MASSES))
def test_masses_of_breast_cosmesis(agrees: Agrees, arm: str) -> None:
    """Fay & Shaw 2010, J Stat Softw 36(2), verified; intervals (left, right].

    lifelines takes the intervals as closed and finds others.
    """
    rows = pl.read_csv(PUBLISHED / "bcos.csv").filter(pl.col("treatment") == arm)
    fit = turnbull(rows["left"], rows["right"])
    found = dict(zip(zip(fit.left, fit.right, strict=True), fit.mass, strict=True))
    for ends, text in MASSES[arm].items():
        assert agrees(found[ends], text)
    assert fit.converged


def test_days_known_exactly_give_kaplan_meier() -> None:
    d = pl.read_csv(ORACLES / "survival_tied.csv")
    event = d["state"].to_numpy() == 1
    fit = turnbull(d["time"], np.where(event, d["time"].to_numpy(), np.nan))
    curve = kaplan_meier(d["time"], event.astype(float))
    for at in risk_between(fit, [30, 120, 300]):
        place = np.searchsorted(curve.day, at.day, side="right") - 1
        assert at.low == at.high == pytest.approx(1 - curve.estimate[place], abs=1e-7)


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 8)), min_size=3, max_size=25))
def test_no_move_of_mass_raises_the_likelihood(rows: list[tuple[int, int]]) -> None:
    """At the top every slope is at most the number of rows, and equal where there is mass."""
    left = np.array([start for start, _ in rows], float)
    right = np.array([start + width if width else np.nan for start, width in rows])
    fit = turnbull(left, right)
    assert fit.converged
    assert fit.mass.sum() == pytest.approx(1)
    end = np.where(np.isnan(right), np.inf, right)
    inside = (left[:, None] <= fit.left) & (fit.right <= end[:, None])
    slopes = (inside / (inside @ fit.mass)[:, None]).sum(axis=0)
    assert slopes == pytest.approx(np.full(len(fit.mass), len(rows)), rel=1e-4)


def test_the_risk_is_bounded_within_an_interval() -> None:
    fit = turnbull([0, 10, 20], [10, 20, np.nan])
    at = risk_between(fit, [5])[0]
    assert (at.low, at.high) == pytest.approx((0, 1 / 3))


def test_an_interval_turned_round_is_refused() -> None:
    with pytest.raises(ValueError, match="right must not lie before left"):
        turnbull([5, 1], [4, 2])
    with pytest.raises(ValueError, match="right must be above 0"):
        turnbull([0, 1], [0, 2])
