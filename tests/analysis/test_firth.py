from collections.abc import Callable

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.firth import FirthFit, fit_firth
from analysis.separation import find_separation

Agrees = Callable[[float, str], bool]
TERMS = ("NV", "PI", "EH")


@pytest.fixture(scope="module")
def endometrial_fit(endometrial: pl.DataFrame) -> FirthFit:
    x = endometrial.select(TERMS).to_numpy().astype(float)
    return fit_firth(x, endometrial["HG"].to_numpy(), names=TERMS)


@pytest.mark.parametrize(
    ("term", "coefficient", "error"),
    [
        ("NV", "2.92927", "1.55076"),
        ("PI", "-0.03475", "0.03958"),
        ("EH", "-2.60416", "0.77602"),
        ("intercept", "3.77456", None),
    ],
)
def test_estimates_agree_with_brglm2(
    endometrial_fit: FirthFit, agrees: Agrees, term: str, coefficient: str, error: str | None
) -> None:
    """README of the R package brglm2 (data of Heinze & Schemper 2002), verified."""
    place = endometrial_fit.names.index(term)
    assert agrees(endometrial_fit.coefficients[place], coefficient)
    assert error is None or agrees(endometrial_fit.std_errors[place], error)


@pytest.mark.parametrize(
    ("term", "low", "high"),
    [
        ("NV", 0.609724436383567, 7.85463169814021),
        ("PI", -0.124458720852184, 0.0404554731819847),
        ("EH", -4.36518324392217, -1.23272106168305),
    ],
)
def test_profile_limits_agree_with_r(
    endometrial_fit: FirthFit, term: str, low: float, high: float
) -> None:
    """No number is published: R, by optim and uniroot; its optimiser is good to 1e-7."""
    place = endometrial_fit.names.index(term)
    assert endometrial_fit.low[place] == pytest.approx(low, abs=2e-7)
    assert endometrial_fit.high[place] == pytest.approx(high, abs=2e-7)


def test_penalised_likelihood_ratio_keeps_the_penalty_of_the_whole_design(
    endometrial_fit: FirthFit, endometrial: pl.DataFrame
) -> None:
    """R, by optim: 6.79845724868456 for NV. Refitting without the column gives another number."""
    test = endometrial_fit.tests[endometrial_fit.names.index("NV")]
    assert test.statistic == pytest.approx(6.79845724868456, abs=1e-6)
    reduced = fit_firth(
        endometrial.select("PI", "EH").to_numpy().astype(float), endometrial["HG"].to_numpy()
    )
    other = 2 * (endometrial_fit.log_likelihood - reduced.log_likelihood)
    assert abs(other - test.statistic) > 0.1


def test_limits_are_where_the_penalised_likelihood_has_fallen_by_the_chi_square_value(
    birthwt: pl.DataFrame,
) -> None:
    """Second route, the definition: held at a limit, the top lies 3.841459 / 2 lower."""
    x = birthwt.select("smoke", "age").to_numpy().astype(float)
    y = birthwt["low"].to_numpy().astype(float)
    fit = fit_firth(x, y, limits_for=("x1",))
    design = np.column_stack([np.ones(189), x])

    def penalised(beta: np.ndarray) -> float:
        eta = design @ beta
        mu = 1 / (1 + np.exp(-eta))
        information = design.T @ (design * (mu * (1 - mu))[:, None])
        return float(y @ eta - np.logaddexp(0, eta).sum() + np.linalg.slogdet(information)[1] / 2)

    from scipy.optimize import minimize

    for limit in (fit.low[1], fit.high[1]):
        held = minimize(
            lambda free, limit=limit: -penalised(np.array([free[0], limit, free[1] / 10])),
            [fit.coefficients[0], 10 * fit.coefficients[2]],
            method="Nelder-Mead",
            options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 5000},
        )
        assert 2 * (penalised(fit.coefficients) + held.fun) == pytest.approx(3.841458820694, 1e-8)


@settings(max_examples=12)
@given(events=st.integers(1, 39), exposed=st.integers(5, 35), seed=st.integers(0, 1000))
def test_saturated_table_is_the_log_odds_ratio_with_half_added(
    events: int, exposed: int, seed: int
) -> None:
    """Firth's estimate of a 2 x 2 table adds 1/2 to each cell (Firth 1993, section 3.3)."""
    rng = np.random.default_rng(seed)
    x, y = np.zeros(40), np.zeros(40)
    x[:exposed] = 1
    y[rng.permutation(40)[:events]] = 1
    fit = fit_firth(x[:, None], y, limits_for=())
    a, b = y[x == 1].sum(), (1 - y[x == 1]).sum()
    c, d = y[x == 0].sum(), (1 - y[x == 0]).sum()
    expected = np.log((a + 0.5) * (d + 0.5) / ((b + 0.5) * (c + 0.5)))
    assert fit.coefficients[1] == pytest.approx(expected, abs=1e-8)


def test_whole_weights_are_repeated_rows(endometrial: pl.DataFrame) -> None:
    x, y = endometrial.select(TERMS).to_numpy().astype(float), endometrial["HG"].to_numpy()
    times = 1 + np.arange(79) % 3
    weighted = fit_firth(x, y, weights=times, limits_for=("x1",))
    repeated = fit_firth(np.repeat(x, times, axis=0), np.repeat(y, times), limits_for=("x1",))
    np.testing.assert_allclose(weighted.coefficients, repeated.coefficients, rtol=1e-7)
    assert weighted.high[1] == pytest.approx(repeated.high[1], rel=1e-7)


def test_terms_not_asked_for_have_no_limits(endometrial: pl.DataFrame) -> None:
    x, y = endometrial.select(TERMS).to_numpy().astype(float), endometrial["HG"].to_numpy()
    fit = fit_firth(x, y, names=TERMS, limits_for=("NV",))
    assert np.isfinite(fit.low[1])
    assert np.isnan(fit.low[[0, 2, 3]]).all()
    with pytest.raises(ValueError, match="limits_for must name terms of the model, got 'XX'"):
        fit_firth(x, y, names=TERMS, limits_for=("XX",))


def test_no_events_and_redundant_terms_give_no_number() -> None:
    x = np.arange(12.0).reshape(6, 2)
    nothing = fit_firth(x[:, :1], [0] * 6)
    assert nothing.concerns == ("no_events", "not_identified")
    assert np.isnan(nothing.coefficients).all()
    copies = fit_firth(x, [0, 1, 0, 1, 0, 1])
    assert copies.concerns == ("collinear", "not_identified")
    assert copies.redundant[0].name == "x2"


def test_quasi_separation_is_named_before_the_fit(endometrial: pl.DataFrame) -> None:
    """R detectseparation, vignette: NV has an infinite estimate, the others do not."""
    x, y = endometrial.select(TERMS).to_numpy().astype(float), endometrial["HG"].to_numpy()
    (found,) = find_separation(x, y, TERMS)
    assert (found.name, found.kind, found.towards) == ("NV", "quasi", "plus_infinity")


@pytest.mark.parametrize(
    ("x", "y", "expected"),
    [
        ([[1.0], [2], [3], [4]], [0, 0, 1, 1], [("x1", "complete", "plus_infinity")]),
        ([[4.0], [3], [2], [1]], [0, 0, 1, 1], [("x1", "complete", "minus_infinity")]),
        ([[1.0], [2], [2], [3]], [0, 0, 1, 1], [("x1", "quasi", "plus_infinity")]),
        ([[1.0], [3], [2], [4]], [0, 0, 1, 1], []),
        ([[1.0], [2], [3], [4]], [0, 0, 0, 0], []),
    ],
)
def test_separation_of_one_term(
    x: list[list[float]], y: list[int], expected: list[tuple[str, str, str]]
) -> None:
    found = find_separation(x, y)
    assert [(item.name, item.kind, item.towards) for item in found] == expected


def test_separation_names_the_level_without_events_and_no_other() -> None:
    """Level c of a clinic had no event; the year overlaps and stays finite."""
    rng = np.random.default_rng(6)
    clinic = np.repeat(["a", "b", "c"], 40)
    year = 2015.0 + rng.integers(0, 9, 120)
    y = (rng.random(120) < 0.3).astype(int)
    y[clinic == "c"] = 0
    x = np.column_stack([clinic == "b", clinic == "c", year]).astype(float)
    found = find_separation(x, y, ("clinic b", "clinic c", "year"))
    assert [(item.name, item.towards) for item in found] == [("clinic c", "minus_infinity")]


@settings(max_examples=30)
@given(seed=st.integers(0, 10_000))
def test_separation_is_found_exactly_where_maximum_likelihood_runs_away(seed: int) -> None:
    """Second route: the kernel's Newton steps do not settle."""
    from analysis.logistic import fit_logistic

    rng = np.random.default_rng(seed)
    x = rng.integers(0, 3, size=(14, 2)).astype(float)
    y = rng.integers(0, 2, 14)
    fit = fit_logistic(x, y)
    if fit.redundant or "not_identified" in fit.concerns:
        return
    assert fit.converged == (find_separation(x, y) == ())
