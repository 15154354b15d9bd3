"""The c-statistic and its limits: pROC's reference output, R by hand, pairs counted."""

from collections.abc import Callable
from importlib.resources import files

import numpy as np
import polars as pl
import pytest

from analysis.discrimination import c_statistic, weighted_area
from tests.analysis.r_values import Values, r_values

Agrees = Callable[[float, str], bool]


@pytest.fixture(scope="module")
def r() -> Values:
    return r_values("binary_diagnostics")


@pytest.fixture(scope="module")
def asah() -> pl.DataFrame:
    """113 patients with a subarachnoid haemorrhage, Turck 2010 (R package pROC, aSAH)."""
    return pl.read_csv(str(files("shared") / "published" / "asah.csv"))


def test_delong_limits_agree_with_reference_output(asah: pl.DataFrame, agrees: Agrees) -> None:
    """Expected values of pROC's own tests (Robin 2011), verified; digits as stored there."""
    found = c_statistic(asah["s100b"], asah["outcome"])
    assert agrees(found.estimate, "0.7313685637")
    found = c_statistic(asah["ndka"], asah["outcome"])
    assert agrees(found.estimate, "0.61195799457995")
    assert agrees(found.low, "0.50124499927170")
    assert agrees(found.high, "0.72267098988819")


def test_delong_limits_agree_with_documentation(asah: pl.DataFrame, agrees: Agrees) -> None:
    """pROC's help page, from memory (R by hand agrees, below): 0.7314 (0.6301 to 0.8326)."""
    found = c_statistic(asah["s100b"], asah["outcome"])
    printed = ("0.7314", "0.6301", "0.8326")
    for value, text in zip((found.estimate, found.low, found.high), printed, strict=True):
        assert agrees(value, text)
    assert agrees(c_statistic(asah["wfns"], asah["outcome"]).estimate, "0.8237")


@pytest.mark.parametrize("marker", ["s100b", "ndka", "wfns"])
def test_agrees_with_all_pairs_in_r(r: Values, asah: pl.DataFrame, marker: str) -> None:
    """DeLong's variance and Obuchowski's, the age taken as an arbitrary cluster; wfns is tied."""
    found = c_statistic(asah[marker], asah["outcome"])
    assert found.estimate == pytest.approx(r[marker, "area"], rel=1e-12)
    assert found.std_error == pytest.approx(r[marker, "se"], rel=1e-12)
    assert found.low == pytest.approx(r[marker, "low"], rel=1e-12)
    assert found.high == pytest.approx(r[marker, "high"], rel=1e-12)
    clustered = c_statistic(asah[marker], asah["outcome"], cluster=asah["age"])
    assert clustered.std_error == pytest.approx(r[marker, "clustered se"], rel=1e-12)
    assert clustered.clusters == asah["age"].n_unique()


def test_weights_count_as_copies_of_rows() -> None:
    draw = np.random.default_rng(4)
    score, y = draw.integers(0, 6, 60).astype(float), draw.integers(0, 2, 60).astype(float)
    times = draw.integers(0, 4, 60)
    again = np.repeat(np.arange(60), times)
    weighted = c_statistic(score, y, weights=times, cluster=np.arange(60))
    copied = c_statistic(score[again], y[again], cluster=again)
    assert weighted.estimate == pytest.approx(copied.estimate, rel=1e-12)
    assert weighted.std_error == pytest.approx(copied.std_error, rel=1e-12)
    assert weighted_area(score, y, times.astype(float)) == weighted.estimate


def test_outcomes_that_all_agree_have_no_area() -> None:
    found = c_statistic([0.1, 0.2], [1, 1])
    assert np.isnan([found.estimate, found.low, found.high]).all()
    assert (found.n, found.events) == (2, 2)


def test_limits_stay_within_0_and_1() -> None:
    found = c_statistic([0.1, 0.3, 0.2, 0.4, 0.5, 0.6], [0, 0, 1, 1, 1, 1])
    assert found.high == 1.0 > found.low > 0.0
