"""Shared gamma frailty: printed values, R with tightened loops, derivatives, data at the edge."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.integrate import quad

from analysis.arrays import FloatArray
from analysis.cox import fit_cox
from analysis.frailty import FrailtyFit, fit_frailty
from analysis.kernels.cox import Ties
from analysis.kernels.cox_data import prepare_cox
from analysis.kernels.frailty import FrailtyRows, frailty_point, frailty_rows, marginal_curvature
from tests.analysis.r_values import r_values

Agrees = Callable[[float, str], bool]
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"
GROUPS = {"rats": ("litter", ("rx",)), "kidney": ("id", ("age", "sex"))}
TIES: tuple[Ties, ...] = ("breslow", "efron")


def fit(data: str, ties: Ties) -> FrailtyFit:
    rows, (cluster, terms) = pl.read_csv(PUBLISHED / f"{data}.csv"), GROUPS[data]
    return fit_frailty(
        rows.select(terms).to_numpy(), rows["time"].to_numpy(), rows["status"].to_numpy(),
        cluster=rows[cluster].to_numpy(), ties=ties, names=terms,
    )  # fmt: skip


def test_litters_agree_with_the_printed_output(agrees: Agrees) -> None:
    """Reference output of survival (fr_rat1), Mantel et al. 1977, verified. Its theta of 0.4742849
    is where a search of heights stopped; the slope is nil at 0.4743315."""
    found = fit("rats", "breslow")
    assert agrees(float(found.coefficients[0]), "0.906")
    assert agrees(float(np.sqrt(found.covariance_held[0, 0])), "0.323")
    assert agrees(found.log_likelihood, "-181.0773")
    assert found.variance == pytest.approx(0.4742849, rel=2e-4)


@pytest.mark.parametrize("ties", TIES)
@pytest.mark.parametrize("data", ["rats", "kidney"])
def test_agrees_with_coxph_when_its_loops_are_tightened(data: str, ties: Ties) -> None:
    """R only: coxph(frailty(sparse = FALSE)). Its own search of heights finds the variance to 1e-5,
    so the coefficients are those where optimize() finds it; R's errors with the variance estimated
    come from differences (1e-5)."""
    found, r, key = fit(data, ties), r_values("survival_frailty"), f"{data} {ties}"
    held, full = (np.sqrt(np.diag(one)) for one in (found.covariance_held, found.covariance))
    for place, name in enumerate(found.names):
        at_top = r[key, f"coef by optimize {name}"]
        assert found.coefficients[place] == pytest.approx(at_top, rel=1e-6)
        assert held[place] == pytest.approx(r[key, f"se {name}"], rel=1e-6)
        estimated = r[key, f"se theta estimated {name}"]
        assert full[place] == pytest.approx(estimated, rel=1e-5)  # R's by differences
    assert found.variance == pytest.approx(r[key, "theta"], rel=1e-5)
    assert found.variance == pytest.approx(r[key, "theta by optimize"], rel=1e-6)
    assert found.variance_high == pytest.approx(r[key, "theta high"], rel=1e-7)
    assert found.log_likelihood == pytest.approx(r[key, "log likelihood"], rel=1e-10)
    least = np.log(found.frailties.min())
    assert least == pytest.approx(r[key, "least log frailty"], rel=1e-5)
    assert found.frailties.mean() == pytest.approx(1, abs=1e-9)


def test_lower_limits_and_the_test_of_no_variance() -> None:
    """R only, as above; the rats' profile never falls far enough below."""
    r = r_values("survival_frailty")
    for ties in TIES:
        low = fit("kidney", ties).variance_low
        assert low == pytest.approx(r[f"kidney {ties}", "theta low"], rel=1e-7)
        rats = fit("rats", ties)
        assert rats.variance_low == 0
        without = r[f"rats {ties}", "plain log likelihood"]
        assert rats.log_likelihood_without == pytest.approx(without, rel=1e-10)
        fall = 2 * (r[f"rats {ties}", "log likelihood"] - without)
        assert rats.no_variance.statistic == pytest.approx(fall, rel=1e-8)
        assert 0.09 < rats.no_variance.p_value < 0.11


def rat_rows(ties: Ties) -> FrailtyRows:
    rows = pl.read_csv(PUBLISHED / "rats.csv")
    time = rows["time"].to_numpy().astype(float)
    term = rows.select("rx").to_numpy().astype(float)
    data = prepare_cox(time, rows["status"].to_numpy() == 1, term)
    return frailty_rows(data, rows["litter"].to_numpy(), ties)


@pytest.mark.parametrize("ties", TIES)
def test_agrees_with_coxph_at_held_variances(ties: Ties) -> None:
    """R only: frailty(theta = 0.2) and 1; nothing is searched, so 1e-9."""
    rows, r = rat_rows(ties), r_values("survival_frailty")
    scale, start = rows.data.scale[0], np.zeros(51)
    for variance in (0.2, 1.0):
        point, key = frailty_point(rows, variance, start), f"rats {ties} {variance:g}"
        assert point.converged
        covariance = marginal_curvature(rows, point)[0]
        assert point.at[0] / scale == pytest.approx(r[key, "coef rx"], rel=1e-9)
        assert np.sqrt(covariance[0, 0]) / scale == pytest.approx(r[key, "se rx"], rel=1e-9)
        assert point.log_likelihood == pytest.approx(r[key, "log likelihood"], rel=1e-12)


@pytest.mark.parametrize("ties", TIES)
def test_slopes_over_the_variance_are_those_of_the_height(ties: Ties) -> None:
    """Second route: differences of the profiled marginal likelihood."""
    rows, nu, step = rat_rows(ties), 2.5, 1e-4
    here = frailty_point(rows, 1 / nu, np.zeros(51))
    above, below = (frailty_point(rows, 1 / (nu + s), here.at) for s in (step, -step))
    _, drift, bend = marginal_curvature(rows, here)
    rise = (above.log_likelihood - below.log_likelihood) / (2 * step)
    assert here.slope == pytest.approx(rise, rel=1e-5)
    assert bend == pytest.approx((above.slope - below.slope) / (2 * step), rel=1e-6)
    assert drift[0] == pytest.approx((above.at[0] - below.at[0]) / (2 * step), rel=1e-6)


def pairs(
    n: int, variance: float, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Give terms, days, events and animals; two stifles an animal."""
    draw = np.random.default_rng(seed)
    animal = np.repeat(np.arange(n), 2)
    x = draw.normal(size=(2 * n, 2))
    frailty = draw.gamma(1 / variance, variance, n)[animal] if variance else 1.0
    days = np.ceil(300 * draw.exponential(size=2 * n) / np.exp(x @ [0.5, 0.0]) / frailty)
    end = draw.integers(100, 500, 2 * n).astype(float)
    return x, np.minimum(days, end), (days <= end).astype(float), animal.astype(float)


def test_height_is_the_integral_over_each_cluster() -> None:
    """Second route: each cluster's likelihood by numeric integration, at the fitted hazard."""
    x, day, event, animal = pairs(25, 0.8, seed=1)
    day = day + np.arange(50) / 100  # no ties: then the log likelihoods have one constant
    found = fit_frailty(x, day, event, cluster=animal, ties="breslow")
    assert found.variance > 0.2
    nu, of_row = 1 / found.variance, found.frailties[animal.astype(int)]
    risk = of_row * np.exp(x @ found.coefficients)
    at_risk = np.array([risk[day >= one].sum() for one in day])
    step = np.where(event == 1, 1 / at_risk, 0.0)
    hazard = np.array([step[day <= one].sum() for one in day]) * risk / of_row
    total = float(np.sum(np.log((step * risk / of_row)[event == 1]))) + event.sum()
    for one in range(25):
        d, cumulated = event[animal == one].sum(), hazard[animal == one].sum()
        total += np.log(quad(
            lambda w, d=d, c=cumulated: w**d * np.exp(-w * c) * gamma_density(w, nu), 0, np.inf,
            epsabs=0, epsrel=1e-10)[0])  # fmt: skip
    assert found.log_likelihood == pytest.approx(total, rel=1e-8)


def gamma_density(w: float, nu: float) -> float:
    from scipy.special import gammaln

    return float(np.exp(nu * np.log(nu) - gammaln(nu) + (nu - 1) * np.log(w) - nu * w))


def test_units_and_order_of_rows_change_no_fit() -> None:
    x, day, event, animal = pairs(60, 0.6, seed=3)
    plain = fit_frailty(x, day, event, cluster=animal)
    order = np.random.default_rng(0).permutation(len(day))
    moved = fit_frailty(
        (2019 + 100 * x)[order], day[order], event[order],
        cluster=[f"a{one:03.0f}" for one in animal[order]],
    )  # fmt: skip
    np.testing.assert_allclose(100 * moved.coefficients, plain.coefficients, rtol=1e-7)
    assert moved.variance == pytest.approx(plain.variance, rel=1e-7)
    np.testing.assert_allclose(moved.frailties, plain.frailties, rtol=1e-6)


def test_split_rows_change_no_fit() -> None:
    """Late entry of rows that continue another of their cluster."""
    x, day, event, animal = pairs(40, 0.8, seed=4)
    plain = fit_frailty(x, day, event, cluster=animal)
    long = day > 120
    split = fit_frailty(
        np.concatenate((x, x[long])), np.concatenate((np.minimum(day, 120), day[long])),
        np.concatenate((np.where(long, 0, event), event[long])),
        cluster=np.concatenate((animal, animal[long])),
        entry=np.concatenate((np.zeros(80), np.full(long.sum(), 120.0))),
    )  # fmt: skip
    np.testing.assert_allclose(split.coefficients, plain.coefficients, rtol=1e-8)
    assert split.variance == pytest.approx(plain.variance, rel=1e-8)
    assert split.log_likelihood == pytest.approx(plain.log_likelihood, rel=1e-10)


def test_strata_have_hazards_of_their_own() -> None:
    x, day, event, animal = pairs(60, 0.6, seed=5)
    sides = np.tile([0, 1], 60)
    stretched = np.where(sides == 1, day * 3 + 1, day)  # changes no order within a side
    one = fit_frailty(x, day, event, cluster=animal, strata=sides)
    other = fit_frailty(x, stretched, event, cluster=animal, strata=sides)
    np.testing.assert_allclose(other.coefficients, one.coefficients, rtol=1e-9)
    assert other.variance == pytest.approx(one.variance, rel=1e-9)


def test_clusters_no_further_apart_than_chance_give_the_model_without_them() -> None:
    """Kidney with the disease among its terms: the reference output prints a variance of nil."""
    rows = pl.read_csv(PUBLISHED / "kidney.csv")
    terms = rows.select("age", "sex", "disease").to_dummies("disease").drop("disease_Other")
    days = rows["time"].to_numpy(), rows["status"].to_numpy()
    found = fit_frailty(terms.to_numpy(), *days, cluster=rows["id"].to_numpy())
    plain = fit_cox(terms.to_numpy(), *days)
    np.testing.assert_array_equal(found.coefficients, plain.coefficients)
    assert found.variance == found.variance_low == 0 < found.variance_high
    assert found.no_variance.p_value == 1
    assert found.concerns == ("few_clusters", "no_spread")
    assert found.rank_correlation == 0


def test_no_number_where_there_is_none() -> None:
    x, day, event, animal = pairs(30, 0.5, seed=6)
    for asked, concern in (
        ((x, day, np.zeros(60), animal), "no_events"),
        ((x, day, event, np.arange(60)), "one_row_a_cluster"),
        ((np.column_stack((x, x[:, 0])), day, event, animal), "collinear"),
        ((event[:, None], day, event, animal), "separation"),
    ):
        found = fit_frailty(*asked[:3], cluster=asked[3])
        assert not found.converged
        assert {concern, "not_identified"} <= set(found.concerns)
        assert np.isnan(found.coefficients).all()
        assert np.isnan(found.variance)
