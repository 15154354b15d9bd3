"""Random intercepts: printed values of lme4, the integral itself, and data at the edge."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.arrays import FloatArray
from analysis.kernels.quadrature import marginal_point, mixed_rows
from analysis.logistic import fit_logistic
from analysis.mixed_logistic import MixedFit, fit_mixed_logistic
from tests.analysis.r_values import r_values

Agrees = Callable[[float, str], bool]
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"
PERIODS = ("(Intercept)", "period2", "period3", "period4")
TERMS = ("centre", "treatment", "male", "baseline", "age")


@pytest.fixture(scope="module")
def herds() -> MixedFit:
    cattle = pl.read_csv(PUBLISHED / "cbpp.csv")
    periods = np.column_stack([(cattle["period"] == k).to_numpy() for k in (2, 3, 4)])
    return fit_mixed_logistic(
        periods.astype(float), cattle["ill"].to_numpy(), cluster=cattle["herd"].to_numpy()
    )


def test_herds_agree_with_lme4(herds: MixedFit, agrees: Agrees) -> None:
    """Reference of lme4's own tests for cbpp, adaptive quadrature with 25 points, verified."""
    for found, printed in zip(
        herds.coefficients, ("-1.3992", "-0.9914", "-1.1278", "-1.5795"), strict=True
    ):
        assert agrees(float(found), printed)
    assert herds.concerns == ("few_clusters",)


def test_herds_agree_with_the_integral_in_r(herds: MixedFit) -> None:
    """R only: each herd's likelihood by integrate(), climbed with numeric derivatives (1e-7)."""
    r = r_values("binary_clustered")
    errors = np.sqrt(np.diag(herds.covariance))
    for place, name in enumerate(PERIODS):
        assert herds.coefficients[place] == pytest.approx(r["cbpp", name], rel=1e-6)
        assert errors[place] == pytest.approx(r["cbpp se", name], rel=1e-5)
    assert herds.spread == pytest.approx(r["cbpp", "spread"], rel=1e-7)
    assert herds.log_likelihood == pytest.approx(r["cbpp", "log likelihood"], rel=1e-10)
    assert herds.spread_low == pytest.approx(r["cbpp", "spread low"], rel=1e-6)
    assert herds.spread_high == pytest.approx(r["cbpp", "spread high"], rel=1e-6)
    fall = 2 * (r["cbpp", "log likelihood"] - r["cbpp", "log likelihood without"])
    assert herds.no_spread.statistic == pytest.approx(fall, rel=1e-8)


def test_patients_agree_with_lme4() -> None:
    """R only: glmer(nAGQ = 25). Its optimiser goes without derivatives and stops on the flat top
    1e-5 away; a ten thousandth of a standard error is asked. Its errors are differences (1e-4)."""
    rows = pl.read_csv(PUBLISHED / "respiratory.csv")
    fit = fit_mixed_logistic(
        rows.select(TERMS).to_numpy().astype(float), rows["good"].to_numpy(),
        cluster=rows["subject"].to_numpy(), names=TERMS,
    )  # fmt: skip
    r, errors = r_values("binary_clustered"), np.sqrt(np.diag(fit.covariance))
    for place, name in enumerate(("(Intercept)", *TERMS)):
        near = 1e-4 * errors[place]
        assert fit.coefficients[place] == pytest.approx(r["respiratory lme4", name], abs=near)
        assert errors[place] == pytest.approx(r["respiratory lme4 se", name], rel=1e-4)
    assert fit.spread == pytest.approx(r["respiratory lme4", "spread"], rel=3e-5)
    assert 0.5 < fit.latent_correlation < 0.6


def paired(n: int, spread: float, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give terms, outcomes and animals; two stifles an animal."""
    draw = np.random.default_rng(seed)
    animal = np.repeat(np.arange(n), 2)
    x = draw.normal(size=(2 * n, 2))
    odds = -0.5 + x @ [0.8, -0.4] + spread * draw.normal(size=n)[animal]
    return x, (draw.random(2 * n) < 1 / (1 + np.exp(-odds))).astype(float), animal.astype(float)


def test_gradient_and_information_are_the_slopes_of_the_likelihood() -> None:
    """Second route: differences of the log likelihood at a point that is no top."""
    x, y, animal = paired(60, 1.0, seed=2)
    rows = mixed_rows(np.column_stack([np.ones(len(y)), x]), y, animal.astype(np.int64))
    theta, step = np.array([-0.2, 0.5, -0.1, 0.8]), 1e-5
    here = marginal_point(rows, theta[:-1], float(theta[-1]), 25)
    for place in range(4):
        up, down = theta.copy(), theta.copy()
        up[place] += step
        down[place] -= step
        above, below = (marginal_point(rows, at[:-1], float(at[-1]), 25) for at in (up, down))
        slope = (above.log_likelihood - below.log_likelihood) / (2 * step)
        assert here.gradient[place] == pytest.approx(slope, rel=1e-6, abs=1e-6)
        bend = -(above.gradient - below.gradient) / (2 * step)
        np.testing.assert_allclose(here.information[place], bend, rtol=1e-5, atol=1e-6)


def test_more_points_change_nothing() -> None:
    x, y, animal = paired(80, 1.5, seed=3)
    few, many = (fit_mixed_logistic(x, y, cluster=animal, points=q) for q in (25, 61))
    np.testing.assert_allclose(few.coefficients, many.coefficients, rtol=1e-6)
    assert few.spread == pytest.approx(many.spread, rel=1e-6)


def test_units_and_order_of_rows_change_no_fit() -> None:
    x, y, animal = paired(60, 1.0, seed=4)
    fit = fit_mixed_logistic(x, y, cluster=animal)
    order = np.random.default_rng(0).permutation(len(y))
    moved = fit_mixed_logistic(
        (2019 + 100 * x)[order], y[order], cluster=[f"a{one:.0f}" for one in animal[order]]
    )
    np.testing.assert_allclose(moved.coefficients[1:] * 100, fit.coefficients[1:], rtol=1e-7)
    assert moved.spread == pytest.approx(fit.spread, rel=1e-7)


def test_clusters_no_further_apart_than_chance_give_the_model_without_them() -> None:
    """Outcomes of a pair that never agree leave nothing between animals."""
    x, _, animal = paired(40, 0.0, seed=5)
    y = np.tile([0.0, 1.0], 40)
    fit, plain = fit_mixed_logistic(x, y, cluster=animal), fit_logistic(x, y)
    assert (fit.spread, fit.spread_low) == (0.0, 0.0)
    assert fit.no_spread.p_value == 1
    assert "no_spread" in fit.concerns
    np.testing.assert_allclose(fit.coefficients, plain.coefficients, rtol=1e-8)
    np.testing.assert_allclose(fit.covariance, plain.covariance, rtol=1e-6)
    assert np.isfinite(fit.spread_high)


@pytest.mark.parametrize(
    ("change", "concerns"),
    [
        ("pairs that always agree", ("not_converged",)),
        ("one row a cluster", ("one_row_a_cluster", "not_identified")),
        ("separated", ("separation", "not_identified")),
        ("nobody", ("no_events", "not_identified")),
        ("everybody", ("not_identified",)),
        ("constant", ("not_identified",)),
        ("collinear", ("collinear", "not_identified")),
    ],
)
def test_what_has_no_fit_says_why_and_gives_no_number(
    change: str, concerns: tuple[str, ...]
) -> None:
    x, y, animal = paired(30, 1.0, seed=6)
    if change == "pairs that always agree":
        y = np.repeat(y[::2], 2)
    elif change == "one row a cluster":
        animal = np.arange(60.0)
    elif change == "separated":
        y = (x[:, 0] > 0).astype(float)
    elif change in ("nobody", "everybody"):
        y = np.full(60, float(change == "everybody"))
    elif change == "constant":
        x[:, 1] = 3.0
    elif change == "collinear":
        x[:, 1] = 2 * x[:, 0] + 1
    fit = fit_mixed_logistic(x, y, cluster=animal)
    assert fit.concerns == concerns
    assert not fit.converged
    assert np.isnan(fit.coefficients).all()
    assert np.isnan([fit.spread, fit.spread_low, fit.spread_high, fit.wald.statistic]).all()
    assert fit.separated == (("x1", "x2") if change == "separated" else ())
