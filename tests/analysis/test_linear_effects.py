"""Interactions in strata, splines as curves, units and logarithms: R over the same models."""

from collections.abc import Mapping
from importlib.resources import files

import numpy as np
import polars as pl
import pytest

from analysis.design import Design, Terms, build_design, design_rows, narrowed, set_level
from analysis.linear_effects import LinearEffects, linear_effects
from analysis.logistic import LogisticFit, fit_logistic
from analysis.standardise import mean_risk
from tests.analysis.r_values import Values, r_values

BIRTHS = pl.read_csv(str(files("shared") / "published" / "birthwt.csv"))


@pytest.fixture(scope="module")
def r() -> Values:
    return r_values("binary_terms")


def fitted(terms: Terms, *, by_age: bool = False) -> tuple[Design, LogisticFit]:
    design = build_design(BIRTHS, terms)
    cluster = BIRTHS["age"] if by_age else None
    return design, fit_logistic(design.matrix, BIRTHS["low"], cluster=cluster, names=design.names)


def effect(
    design: Design, fit: LogisticFit, one: Mapping[str, object], zero: Mapping[str, object]
) -> LinearEffects:
    row = BIRTHS.head(1)
    pair = [
        design_rows(design, row.with_columns(**{name: pl.lit(value) for name, value in at.items()}))
        for at in (one, zero)
    ]
    return linear_effects(fit.coefficients, fit.covariance, *pair)


def check(r: Values, group: str, name: str, found: LinearEffects) -> None:
    assert np.exp(found.estimate[0]) == pytest.approx(r[group, f"{name} ratio"], rel=1e-8)
    assert found.std_error[0] == pytest.approx(r[group, f"{name} se"], rel=1e-8)
    assert np.exp(found.low[0]) == pytest.approx(r[group, f"{name} low"], rel=1e-7)
    assert np.exp(found.high[0]) == pytest.approx(r[group, f"{name} high"], rel=1e-7)


@pytest.mark.parametrize("group", ["smoke by race", "smoke by race robust"])
def test_effect_in_each_level_of_the_other_term(r: Values, group: str) -> None:
    terms = Terms(
        columns=("smoke", "race", "age"), categorical={"smoke": "0", "race": "1"},
        interactions=(("smoke", "race"),),
    )  # fmt: skip
    design, fit = fitted(terms, by_age=group.endswith("robust"))
    assert design.names[-2:] == ("smoke=1:race=2", "smoke=1:race=3")
    for race in (1, 2, 3):
        found = effect(design, fit, {"smoke": 1, "race": race}, {"smoke": 0, "race": race})
        check(r, group, str(race), found)


def test_effect_at_values_of_a_number_centred_and_per_unit(r: Values) -> None:
    terms = Terms(
        columns=("smoke", "lwt"), categorical={"smoke": "0"}, per={"lwt": 10},
        centre={"lwt": 130}, interactions=(("smoke", "lwt"),),
    )  # fmt: skip
    design, fit = fitted(terms)
    wanted = [r["smoke by weight", name] for name in ("(Intercept)", "smoke", "heavy",
                                                      "smoke:heavy")]  # fmt: skip
    np.testing.assert_allclose(fit.coefficients, wanted, rtol=1e-8)
    for weight in (110, 121, 140):
        found = effect(design, fit, {"smoke": 1, "lwt": weight}, {"smoke": 0, "lwt": weight})
        check(r, "smoke by weight", str(weight), found)


def test_curve_of_a_spline_against_its_median(r: Values) -> None:
    design, fit = fitted(Terms(columns=("lwt", "smoke"), spline={"lwt": 4}))
    middle = float(np.median(BIRTHS["lwt"].to_numpy()))
    for weight in (90, 110, 150, 220):
        found = effect(design, fit, {"lwt": weight}, {"lwt": middle})
        check(r, "curve", str(weight), found)
    same = effect(design, fit, {"lwt": middle}, {"lwt": middle})
    assert (same.estimate[0], same.std_error[0]) == (0, 0)
    assert np.isnan(same.p_value[0])


def test_ratio_per_doubling(r: Values) -> None:
    design, fit = fitted(Terms(columns=("lwt",), log={"lwt": 2}))
    assert np.exp(fit.coefficients[1]) == pytest.approx(r["doubling", "ratio"], rel=1e-9)
    assert design.columns[0].unit == "per doubling"
    tens, _ = fitted(Terms(columns=("lwt",), log={"lwt": 10}, centre={"lwt": 100}))
    assert tens.columns[0].unit == "per factor 10"
    at = design_rows(tens, pl.DataFrame({"lwt": [100.0, 1000.0]}))
    np.testing.assert_allclose(at[:, 0], [0, 1], atol=1e-12)


def test_risk_of_a_named_profile(r: Values) -> None:
    """Averaged over the other terms; delta limits on the logit scale."""
    terms = Terms(columns=("smoke", "race", "age"), categorical={"smoke": "0", "race": "1"})
    design, fit = fitted(terms)
    for age in (18, 30):
        rows = design_rows(design, BIRTHS.with_columns(smoke=1, age=age))
        risk = mean_risk(fit, rows)
        for value, name in ((risk.estimate, "risk"), (risk.low, "low"), (risk.high, "high")):
            wanted = r["profile", f"smoker of {age} {name}"]
            assert value == pytest.approx(wanted, rel=1e-7)


def test_rows_made_again_are_the_design() -> None:
    terms = Terms(
        columns=("smoke", "race", "lwt", "age"), categorical={"smoke": "0", "race": "1"},
        spline={"lwt": 3}, per={"age": 5}, interactions=(("smoke", "age"), ("race", "age")),
    )  # fmt: skip
    design = build_design(BIRTHS, terms)
    np.testing.assert_array_equal(design_rows(design, BIRTHS), design.matrix)
    everyone = set_level(design, "smoke", "1")
    wanted = design_rows(design, BIRTHS.with_columns(smoke=pl.lit(1)))
    np.testing.assert_array_equal(everyone, wanted)
    few = narrowed(design, ("smoke", "age"))
    assert few.names == ("smoke=1", "age", "smoke=1:age")
    np.testing.assert_array_equal(design_rows(few, BIRTHS), few.matrix)


def test_what_was_not_there_is_refused() -> None:
    design = build_design(BIRTHS, Terms(columns=("race",), categorical={"race": "1"}))
    with pytest.raises(ValueError, match="race has no level 4 in this model"):
        design_rows(design, pl.DataFrame({"race": [4]}))
    with pytest.raises(ValueError, match="log of ftv: it must be above 0"):
        build_design(BIRTHS, Terms(columns=("ftv",), log={"ftv": 2}))
    with pytest.raises(ValueError, match="base must be above 1"):
        build_design(BIRTHS, Terms(columns=("lwt",), log={"lwt": 1}))
