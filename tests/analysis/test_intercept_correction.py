"""Firth's fit with its intercept corrected: risks average to those seen, and R."""

from importlib.resources import files
from typing import Any

import numpy as np
import polars as pl
import pytest

from analysis.firth import FirthFit, fit_firth
from analysis.intercept_correction import corrected_intercept
from analysis.kernels.logistic import fitted_risks
from analysis.standardise import standardised_risks
from tests.analysis.r_values import r_values

PUBLISHED = files("shared") / "published"
BIRTHS = pl.read_csv(str(PUBLISHED / "birthwt.csv"))
ENDOMETRIAL = pl.read_csv(str(PUBLISHED / "endometrial.csv"))
R = r_values("binary_flic")
FRAMES = {
    "birthwt": (BIRTHS, ("smoke", "age", "lwt"), "low", None),
    "birthwt weighted": (BIRTHS, ("smoke", "age", "lwt"), "low", 1 + BIRTHS["ftv"].to_numpy() / 2),
    "endometrial": (ENDOMETRIAL, ("NV", "PI", "EH"), "HG", None),
}
Case = tuple[np.ndarray, np.ndarray, Any, FirthFit]


def case(name: str) -> Case:
    frame, terms, outcome, weights = FRAMES[name]
    x, y = frame.select(terms).to_numpy().astype(float), frame[outcome].to_numpy().astype(float)
    return x, y, weights, fit_firth(x, y, weights=weights, names=terms, limits_for=())


@pytest.mark.parametrize("name", FRAMES)
def test_intercept_errors_and_risks_agree_with_r(name: str) -> None:
    x, y, weights, firth = case(name)
    assert firth.coefficients[0] == pytest.approx(R[name, "firth intercept"], rel=1e-8)
    found = corrected_intercept(firth, x, y, weights=weights)
    assert found.coefficients[0] == pytest.approx(R[name, "intercept"], rel=1e-8)
    assert found.coefficients[1:].tolist() == firth.coefficients[1:].tolist()
    for place, term in enumerate(("intercept", *FRAMES[name][1])):
        assert found.std_errors[place] == pytest.approx(R[name, f"se {term}"], rel=1e-8)
    arms = [np.column_stack([np.full(len(x), arm), x[:, 1:]]) for arm in (0.0, 1.0)]
    risks = standardised_risks(found, *arms)
    assert risks.reference.estimate == pytest.approx(R[name, "risk 0"], rel=1e-8)
    assert risks.exposed.estimate == pytest.approx(R[name, "risk 1"], rel=1e-8)


@pytest.mark.parametrize("name", FRAMES)
def test_risks_average_to_the_share_seen(name: str) -> None:
    """Firth's own do not: they are mostly drawn towards one half (Puhr 2017)."""
    x, y, weights, firth = case(name)
    w = np.ones(len(y)) if weights is None else weights
    seen = np.average(y, weights=w)
    found = corrected_intercept(firth, x, y, weights=weights)
    means = [
        np.average(fitted_risks(fit.coefficients[0] + x @ fit.coefficients[1:]), weights=w)
        for fit in (firth, found)
    ]
    assert means[1] == pytest.approx(seen, rel=1e-12)
    assert abs(means[0] - seen) > 1e-3
    assert name == "endometrial" or seen < means[0] < 0.5


def test_rows_of_weight_zero_count_for_nothing_and_no_fit_stays_none() -> None:
    x, y, _, _ = case("birthwt")
    weights = (np.arange(len(y)) < 150).astype(float)
    firth = fit_firth(x, y, weights=weights, limits_for=())
    all_rows = corrected_intercept(firth, x, y, weights=weights)
    first = corrected_intercept(firth, x[:150], y[:150])
    np.testing.assert_allclose(all_rows.coefficients, first.coefficients, rtol=1e-12)
    nothing = fit_firth(x, y * 0)
    assert corrected_intercept(nothing, x, y * 0) is nothing
