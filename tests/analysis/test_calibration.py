"""Calibration of a model in other rows than its own: R, and what holds by definition."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.special import expit

from analysis.calibration import (
    brier_score,
    calibration_curve,
    calibration_in_the_large,
    calibration_slope,
)
from analysis.discrimination import c_statistic
from analysis.logistic import fit_logistic
from tests.analysis.r_values import Values, r_values

TERMS = ("npreg", "glu", "bp", "skin", "bmi", "ped", "age")


@pytest.fixture(scope="module")
def r() -> Values:
    return r_values("binary_diagnostics")


@pytest.fixture(scope="module")
def tested(oracles: Path) -> pl.DataFrame:
    """332 women, risks of diabetes by a model of 200 others (R package MASS, Pima.te, Pima.tr)."""
    train, test = (pl.read_csv(oracles / f"binary_pima_{part}.csv") for part in ("tr", "te"))
    fit = fit_logistic(train.select(TERMS).to_numpy(), train["type"] == "Yes", names=TERMS)
    linear = fit.coefficients[0] + test.select(TERMS).to_numpy() @ fit.coefficients[1:]
    return test.with_columns(
        risk=pl.Series(expit(linear)), y=(pl.col("type") == "Yes").cast(pl.Float64)
    )


def test_slope_and_intercept_agree_with_r(r: Values, tested: pl.DataFrame) -> None:
    """glm with and without the log odds as offset; sandwich (CR1) written out, age as cluster."""
    large = calibration_in_the_large(tested["risk"], tested["y"])
    assert large.estimate == pytest.approx(r["pima", "in the large"], rel=1e-8)
    assert large.std_error == pytest.approx(r["pima", "in the large se"], rel=1e-8)
    slope = calibration_slope(tested["risk"], tested["y"])
    assert slope.estimate == pytest.approx(r["pima", "slope"], rel=1e-8)
    assert slope.std_error == pytest.approx(r["pima", "slope se"], rel=1e-8)
    by_age = calibration_in_the_large(tested["risk"], tested["y"], cluster=tested["age"])
    assert by_age.std_error == pytest.approx(r["pima", "in the large robust se"], rel=1e-8)
    by_age = calibration_slope(tested["risk"], tested["y"], cluster=tested["age"])
    assert by_age.std_error == pytest.approx(r["pima", "slope robust se"], rel=1e-8)


def test_weighted_measures_agree_with_r(r: Values, tested: pl.DataFrame) -> None:
    weights = 1 + tested["npreg"].to_numpy() / 2
    slope = calibration_slope(tested["risk"], tested["y"], weights=weights)
    assert slope.estimate == pytest.approx(r["pima", "weighted slope"], rel=1e-8)
    brier, _ = brier_score(tested["risk"], tested["y"], weights=weights)
    assert brier == pytest.approx(r["pima", "weighted brier"], rel=1e-8)
    area = c_statistic(tested["risk"], tested["y"], weights=weights)
    assert area.estimate == pytest.approx(r["pima", "weighted area"], rel=1e-10)


def test_squared_error_agrees_with_r(r: Values, tested: pl.DataFrame) -> None:
    brier, scaled = brier_score(tested["risk"], tested["y"])
    assert brier == pytest.approx(r["pima", "brier"], rel=1e-8)
    assert scaled == pytest.approx(r["pima", "scaled brier"], rel=1e-8)
    assert c_statistic(tested["risk"], tested["y"]).estimate == pytest.approx(r["pima", "area"])


def test_curve_agrees_with_r(r: Values, tested: pl.DataFrame) -> None:
    """A spline of the log odds with four knots, by glm."""
    curve = calibration_curve(tested["risk"], tested["y"], points=5)
    assert curve is not None
    assert curve.knots == 4
    assert curve.mean_distance == pytest.approx(r["pima", "mean distance"], rel=1e-7)
    assert curve.largest_distance == pytest.approx(r["pima", "largest distance"], rel=1e-7)
    for name in ("predicted", "observed", "low", "high"):
        wanted = [r["curve", f"{name} {place}"] for place in range(1, 6)]
        np.testing.assert_allclose(getattr(curve, name), wanted, rtol=1e-6)


def test_a_model_is_calibrated_in_its_own_rows(tested: pl.DataFrame) -> None:
    fit = fit_logistic(tested.select(TERMS).to_numpy(), tested["y"])
    risk = expit(fit.coefficients[0] + tested.select(TERMS).to_numpy() @ fit.coefficients[1:])
    assert calibration_in_the_large(risk, tested["y"]).estimate == pytest.approx(0, abs=1e-8)
    assert calibration_slope(risk, tested["y"]).estimate == pytest.approx(1, abs=1e-8)


def test_what_cannot_be_told_is_no_number() -> None:
    risk = np.full(8, 0.3)
    y = [0, 1, 0, 0, 0, 0, 1, 0]
    assert np.isnan(calibration_slope(risk, y).estimate)
    assert calibration_curve(risk, y) is None
    assert np.isnan(calibration_in_the_large(risk, np.zeros(8)).estimate)
    assert np.isnan(brier_score(risk, np.zeros(8))[1])
    with pytest.raises(ValueError, match="ends excluded"):
        calibration_slope([0.0, 0.5], [0, 1])
