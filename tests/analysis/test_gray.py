"""Gray's test: published values, R, and tables without a test."""

from collections.abc import Callable

import numpy as np
import polars as pl
import pytest

from analysis.gray import gray_test
from tests.analysis.r_values import ORACLES, r_values
from tests.analysis.test_incidence import PUBLISHED, mgus2

Agrees = Callable[[float, str], bool]


def test_simulated_competing_risks_of_cmprsk_within_strata(agrees: Agrees) -> None:
    """Reference output of the tests of the R package cmprsk, verified: chi-square and p."""
    d = pl.read_csv(PUBLISHED / "cmprsk_reference.csv")
    first, second = (
        gray_test(d["time"], d["cause"], d["group"], cause=cause, strata=d["stratum"])
        for cause in (1, 2)
    )
    assert agrees(first.statistic, "3.393977")
    assert agrees(first.p_value, "0.1832345")
    assert agrees(second.statistic, "1.989511")
    assert first.df == 2


@pytest.mark.parametrize(("cause", "value"), [(1, 1.19450782507551), (2, 11.6512590121277)])
def test_malignancy_and_death_by_sex(cause: int, value: float) -> None:
    """cmprsk::cuminc, computed here; no published number."""
    frame = mgus2()
    test = gray_test(frame["months"], frame["state"], frame["sex"], cause=cause)
    assert test.statistic == pytest.approx(value, rel=1e-10)


@pytest.mark.parametrize("cause", [1, 2])
@pytest.mark.parametrize("rho", [0, 1])
def test_tied_rows_as_r_has_them(cause: int, rho: int) -> None:
    """cmprsk::cuminc with three groups, and with two groups within three strata."""
    right, group = r_values("competing_regression"), f"cause {cause}"
    d = pl.read_csv(ORACLES / "survival_tied.csv")
    plain = gray_test(d["time"], d["state"], d["stratum"], cause=cause, rho=rho)
    assert plain.statistic == pytest.approx(right[group, f"gray by stratum rho {rho}"], rel=1e-9)
    layered = gray_test(d["time"], d["state"], d["x1"], cause=cause, strata=d["stratum"], rho=rho)
    name = f"gray by x1 within strata rho {rho}"
    assert layered.statistic == pytest.approx(right[group, name], rel=1e-9)


def test_order_and_names_of_groups_change_nothing() -> None:
    d = pl.read_csv(ORACLES / "survival_tied.csv")
    test = gray_test(d["time"], d["state"], d["stratum"], cause=1)
    mixed = d.sample(fraction=1.0, shuffle=True, seed=3)
    other = gray_test(mixed["time"], mixed["state"], (7 - mixed["stratum"]), cause=1)
    assert other.statistic == pytest.approx(test.statistic, rel=1e-9)


@pytest.mark.parametrize(
    ("state", "group"), [([0, 0, 2, 2], [0, 1, 0, 1]), ([1, 1, 2, 0], [1, 1, 1, 1])]
)
def test_no_event_or_one_group_has_no_test(state: list[int], group: list[int]) -> None:
    assert np.isnan(gray_test([1, 2, 3, 4], state, group, cause=1).statistic)
