from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from analysis.benchmark import (
    funnel_limits,
    funnel_limits_binomial,
    observed_expected,
    overdispersion,
)
from tests.analysis.r_values import r_values


@pytest.mark.parametrize(
    ("observed", "low", "high"),
    [
        (0, 0.0, 3.68887945411394),
        (1, 0.0253178079842899, 5.5716433909389),
        (3, 0.618672122895601, 8.76727306974232),
        (10, 4.79538869613243, 18.3903560420178),
    ],
)
def test_exact_limits_agree_with_r(observed: int, low: float, high: float) -> None:
    """Garwood 1936, Breslow & Day II p. 70, Ulm 1990, from memory (3.689, 0.0253, 5.572, 0.619,
    8.767, 4.795, 18.390): compared with R at 1e-6. No event: 3.689, not the one-sided 2.996."""
    found = observed_expected(observed, 2.0)
    assert (2 * found.low, 2 * found.high) == pytest.approx((low, high), abs=1e-6)
    assert found.ratio == observed / 2


@pytest.mark.parametrize(
    ("observed", "low", "high"),
    [(3, 0.60297257097023, 8.76536439674634), (10, 4.78744991396756, 18.3914586057565)],
)
def test_byars_limits_agree_with_r(observed: int, low: float, high: float) -> None:
    """Closed form in R; no published number."""
    found = observed_expected(observed, 1.0, method="byar")
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-9)


@given(observed=st.integers(1, 400), expected=st.floats(0.1, 300))
def test_exact_limits_solve_their_equations(observed: int, expected: float) -> None:
    """Second route: at each limit the Poisson tail is one half of the error."""
    found = observed_expected(observed, expected)
    assert poisson.sf(observed - 1, found.low * expected) == pytest.approx(0.025, rel=1e-6)
    assert poisson.cdf(observed, found.high * expected) == pytest.approx(0.025, rel=1e-6)


@pytest.mark.parametrize(
    ("n", "share", "level", "low", "high"),
    [
        (100, 0.1, 0.95, 0.0403805955243935, 0.157718611639127),
        (100, 0.1, 0.998, 0.0141788650084348, 0.198356718502886),
        (200, 0.15, 0.95, None, 0.198700637255374),
    ],
)
def test_binomial_funnel_limits_agree_with_r(
    n: int, share: float, level: float, low: float | None, high: float
) -> None:
    """Spiegelhalter 2005, appendix A.1, computed in R: no number of the paper could be read."""
    found = funnel_limits_binomial(n, share, level=level)
    assert found[1] == pytest.approx(high, abs=1e-9)
    assert low is None or found[0] == pytest.approx(low, abs=1e-9)


@given(expected=st.floats(0.1, 500))
def test_funnel_narrows_around_one_and_outer_limits_lie_outside(expected: float) -> None:
    inner, outer = funnel_limits(expected), funnel_limits(expected, level=0.998)
    assert 0 <= outer[0] <= inner[0] <= 1 <= inner[1] <= outer[1]
    wider = funnel_limits(expected / 2)
    assert wider[1] - wider[0] >= inner[1] - inner[0]


def test_poisson_funnel_is_the_limit_of_the_binomial_one() -> None:
    """Second route: many stifles at small risk."""
    low, high = funnel_limits(20.0)
    binomial = funnel_limits_binomial(2_000_000, 1e-5)
    assert (low, high) == pytest.approx(tuple(x / 1e-5 for x in binomial), rel=1e-4)


def test_overdispersion_agrees_with_r(oracles: Path) -> None:
    """Control arms of 13 BCG trials, arcsine scale, 10 % winsorised by type 7 quantiles:
    computed in R by Spiegelhalter's formulas; no published number."""
    arms = pl.read_csv(oracles / "binary_bcg_controls.csv")
    events, n = arms["cpos"].to_numpy(), (arms["cpos"] + arms["cneg"]).to_numpy()
    target = float(np.arcsin(np.sqrt(events.sum() / n.sum())))
    found = overdispersion(np.arcsin(np.sqrt(events / n)), 1 / (2 * np.sqrt(n)), target)
    right = r_values("published_models")
    assert found.phi == pytest.approx(right["bcg controls", "phi"], abs=1e-9)
    assert found.phi_winsorised == pytest.approx(right["bcg controls", "phi winsorised"], abs=1e-9)
    assert found.tau_squared == pytest.approx(right["bcg controls", "tau squared"], abs=1e-12)
    assert found.test.p_value < 1e-12


def test_clinics_alike_are_not_overdispersed() -> None:
    expected = np.array([5.0, 12, 30])
    found = overdispersion(np.ones(3), 1 / (2 * np.sqrt(expected)), 1.0)
    assert found.phi == found.tau_squared == 0
    assert found.test.p_value == 1


@pytest.mark.parametrize(("observed", "expected"), [(-1, 2.0), (3, 0.0), (3, float("nan"))])
def test_impossible_numbers_are_refused(observed: int, expected: float) -> None:
    with pytest.raises(ValueError, match=r"observed must not be|expected must be above zero"):
        observed_expected(observed, expected)
