"""Side by side with base R: values of tests/oracles/binary_models.R."""

import numpy as np
import polars as pl
import pytest

from analysis.benchmark import funnel_limits, observed_expected
from analysis.describe import (
    quartiles,
    standardised_difference,
    standardised_difference_of_levels,
)
from analysis.firth import fit_firth
from analysis.logistic import fit_logistic
from analysis.logistic_profile import profile_limits
from analysis.proportions import clopper_pearson, wilson
from analysis.standardise import standardised_risks
from tests.analysis.r_values import Values, r_values

TERMS = ("smoke", "age", "lwt", "race2", "race3")
R_NAMES = ("intercept", "smoke", "age", "lwt", "black", "other")


@pytest.fixture(scope="module")
def r() -> Values:
    return r_values("binary_models")


@pytest.fixture(scope="module")
def x(birthwt: pl.DataFrame) -> np.ndarray:
    return birthwt.select(TERMS).to_numpy().astype(float)


@pytest.fixture(scope="module")
def y(birthwt: pl.DataFrame) -> np.ndarray:
    return birthwt["low"].to_numpy()


def of(r: Values, group: str) -> list[float]:
    return [r[group, name] for name in R_NAMES]


def test_maximum_likelihood(r: Values, x: np.ndarray, y: np.ndarray, birthwt: pl.DataFrame) -> None:
    """glm with epsilon 1e-14; sandwiches written out in R."""
    age = birthwt["age"].to_numpy()
    plain = fit_logistic(x, y)
    np.testing.assert_allclose(plain.coefficients, of(r, "ml"), rtol=1e-9)
    np.testing.assert_allclose(plain.std_errors, of(r, "ml se"), rtol=1e-9)
    assert plain.log_likelihood == pytest.approx(r["ml", "log likelihood"], rel=1e-12)
    for correction in ("CR0", "CR1"):
        robust = fit_logistic(x, y, cluster=age, correction=correction)
        np.testing.assert_allclose(robust.std_errors, of(r, f"{correction.lower()} se"), rtol=1e-8)
    weights = 1 + birthwt["ftv"].to_numpy() / 2
    weighted = fit_logistic(x, y, weights=weights)
    np.testing.assert_allclose(weighted.coefficients, of(r, "weighted"), rtol=1e-9)


@pytest.mark.parametrize("term", ["smoke", "lwt"])
def test_profile_limits(r: Values, x: np.ndarray, y: np.ndarray, term: str) -> None:
    """uniroot over refits with an offset."""
    low, high = profile_limits(x, y, term, names=TERMS)
    assert low == pytest.approx(r["profile", f"{term} low"], rel=1e-8)
    assert high == pytest.approx(r["profile", f"{term} high"], rel=1e-8)


def test_profile_of_a_separating_term_has_no_maximum() -> None:
    assert all(np.isnan(profile_limits([[1.0], [2], [3], [4]], [0, 0, 1, 1], "x1")))
    with pytest.raises(ValueError, match="term must be one of x1, got 'age'"):
        profile_limits([[1.0], [2]], [0, 1], "age")


@pytest.mark.parametrize("case", ["firth", "firth weighted"])
def test_firth(r: Values, x: np.ndarray, y: np.ndarray, birthwt: pl.DataFrame, case: str) -> None:
    """R climbs by BFGS with numeric derivatives, good to about 1e-6 of a standard error: hence
    2e-5 relative. That the penalised score is nil is tested elsewhere at 1e-8."""
    weights = 1 + birthwt["ftv"].to_numpy() / 2 if case.endswith("weighted") else None
    fit = fit_firth(x, y, weights=weights, names=TERMS, limits_for=("smoke", "lwt"))
    np.testing.assert_allclose(fit.coefficients, of(r, case), rtol=2e-5)
    assert fit.log_likelihood == pytest.approx(r[case, "penalised log likelihood"], rel=1e-10)
    for term in ("smoke", "lwt"):
        place = fit.names.index(term)
        assert fit.low[place] == pytest.approx(r[case, f"{term} low"], rel=2e-4)
        assert fit.high[place] == pytest.approx(r[case, f"{term} high"], rel=2e-4)
        assert fit.tests[place].statistic == pytest.approx(r[case, f"{term} chi-square"], rel=1e-6)


def test_standardised_risks(r: Values, x: np.ndarray, y: np.ndarray) -> None:
    """predict() under both arms; the delta method with central differences in R, good to 1e-7."""
    nobody, everybody = x.copy(), x.copy()
    nobody[:, 0], everybody[:, 0] = 0, 1
    found = standardised_risks(fit_logistic(x, y), nobody, everybody)
    pairs = {
        "risk 0": (found.reference.estimate, found.reference.std_error),
        "risk 1": (found.exposed.estimate, found.exposed.std_error),
        "difference": (found.difference.estimate, found.difference.std_error),
        "log ratio": (np.log(found.ratio.estimate), found.ratio.std_error),
    }
    for name, (estimate, error) in pairs.items():
        assert estimate == pytest.approx(r["standardised", name], rel=1e-9)
        assert error == pytest.approx(r["standardised se", name], rel=1e-6)


@pytest.mark.parametrize(("events", "n"), [(0, 20), (1, 29), (15, 148), (148, 148)])
def test_proportions(r: Values, events: int, n: int) -> None:
    """prop.test(correct = FALSE) and binom.test."""
    for name, found in (("wilson", wilson(events, n)), ("exact", clopper_pearson(events, n))):
        assert found.low == pytest.approx(r[f"{events}/{n}", f"{name} low"], abs=1e-12)
        assert found.high == pytest.approx(r[f"{events}/{n}", f"{name} high"], abs=1e-12)


@pytest.mark.parametrize("observed", [0, 1, 7, 40])
def test_poisson_limits(r: Values, observed: int) -> None:
    """poisson.test."""
    found = observed_expected(observed, 1.0)
    assert found.low == pytest.approx(r[f"poisson {observed}", "low"], abs=1e-10)
    assert found.high == pytest.approx(r[f"poisson {observed}", "high"], abs=1e-10)


@pytest.mark.parametrize("expected", [0.7, 4.0, 25.0])
def test_poisson_funnel_limits(r: Values, expected: float) -> None:
    """qpois with Spiegelhalter's interpolation."""
    for level, tails in ((0.95, ("0.025", "0.975")), (0.998, ("0.001", "0.999"))):
        wanted = [r[f"funnel {expected:g}", tail] for tail in tails]
        assert funnel_limits(expected, level=level) == pytest.approx(wanted, abs=1e-9)


def test_descriptions(r: Values, birthwt: pl.DataFrame) -> None:
    """quantile(type = 7); standardised differences written out in R."""
    found = quartiles(birthwt["lwt"])
    assert (found.low, found.median, found.high) == tuple(
        r["quartiles lwt", name] for name in ("low", "median", "high")
    )
    smokers = birthwt.filter(pl.col("smoke") == 1)
    others = birthwt.filter(pl.col("smoke") == 0)
    difference = standardised_difference(smokers["lwt"], others["lwt"])
    assert difference.estimate == pytest.approx(r["smd", "lwt"], rel=1e-12)
    race = [group["race"].cast(pl.String) for group in (smokers, others)]
    distance = standardised_difference_of_levels(race[0], race[1])
    assert distance.estimate == pytest.approx(r["smd", "race"], rel=1e-12)
