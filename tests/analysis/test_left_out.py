"""Optimism, groups left out and influence of clusters: R over the same samples and rows."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.special import logit

from analysis.calibration import brier_score, calibration_in_the_large, calibration_slope
from analysis.discrimination import c_statistic
from analysis.firth import fit_firth
from analysis.left_out import influence_by_cluster, leave_groups_out
from analysis.logistic import fit_logistic
from analysis.optimism import bootstrap_optimism, optimism_of
from analysis.refit import refit
from tests.analysis.r_values import Values, r_values

TERMS = ("age", "lwt", "race2", "race3", "smoke", "ptl", "ht", "ui")


@pytest.fixture(scope="module")
def r() -> Values:
    return r_values("binary_diagnostics")


@pytest.fixture(scope="module")
def x(birthwt: pl.DataFrame) -> np.ndarray:
    return birthwt.select(TERMS).to_numpy().astype(float)


@pytest.fixture(scope="module")
def y(birthwt: pl.DataFrame) -> np.ndarray:
    return birthwt["low"].to_numpy().astype(float)


def test_optimism_agrees_with_r_over_the_same_samples(
    r: Values, x: np.ndarray, y: np.ndarray, oracles: Path
) -> None:
    """50 stored samples; steps end early here, so 1e-6."""
    rows = pl.read_csv(oracles / "binary_resamples.csv", has_header=False).to_numpy()
    counts = np.column_stack([np.bincount(row, minlength=len(y)) for row in rows]).astype(float)
    found = optimism_of(x, y, [counts[:, :20], counts[:, 20:]])
    assert found is not None
    assert (found.n_samples, found.n_failed) == (50, 0)
    for name, ours in (("area", "concordance"), ("brier", "brier"), ("slope", "slope")):
        measure = getattr(found, ours)
        assert measure.apparent == pytest.approx(r["optimism", name], rel=1e-7)
        assert measure.optimism == pytest.approx(r["optimism", f"{name} gap"], rel=1e-6)
        assert measure.corrected == measure.apparent - measure.optimism


def test_groups_left_out_agree_with_r(
    r: Values, x: np.ndarray, y: np.ndarray, birthwt: pl.DataFrame
) -> None:
    """Numbers of visits (3 and more as one) as groups."""
    group = birthwt["ftv"].clip(upper_bound=3).cast(pl.String).to_numpy().astype(str)
    found = leave_groups_out(x, y, group)
    assert found.failed == ()
    assert found.groups == ("0", "1", "2", "3")
    assert c_statistic(found.risk, y).estimate == pytest.approx(r["left out", "area"], rel=1e-9)
    assert brier_score(found.risk, y)[0] == pytest.approx(r["left out", "brier"], rel=1e-8)
    slope = calibration_slope(found.risk, y).estimate
    assert slope == pytest.approx(r["left out", "slope"], rel=1e-8)
    large = calibration_in_the_large(found.risk, y).estimate
    assert large == pytest.approx(r["left out", "in the large"], rel=1e-8)
    for name in found.groups:
        expected = found.risk[group == name].sum()
        assert expected == pytest.approx(r["left out", f"expected {name}"], rel=1e-8)


def test_influence_agrees_with_refits_in_r(
    r: Values, x: np.ndarray, y: np.ndarray, birthwt: pl.DataFrame
) -> None:
    """Each age left out by glm; the five that move the coefficient of smoking most."""
    age = birthwt["age"].cast(pl.String).to_numpy().astype(str)
    place = 1 + TERMS.index("smoke")
    found = influence_by_cluster(x, y, age, column=place, most=12)
    assert found.n_clusters == len(set(age))
    assert [float(label) for label in found.labels[:5]] == [
        r["influence", f"age {rank}"] for rank in range(1, 6)
    ]
    for rank in range(5):
        wanted = r["influence", f"smoke {rank + 1}"]
        assert found.coefficients[rank, place] == pytest.approx(wanted, rel=1e-7)
        assert found.rows[rank] == (age == found.labels[rank]).sum()


def test_refits_are_the_models_themselves(x: np.ndarray, y: np.ndarray) -> None:
    weights = np.ones((len(y), 2))
    weights[:, 1] = np.arange(len(y)) % 3
    plain, penalised = refit(x, y, weights), refit(x, y, weights, penalised=True)
    for column in range(2):
        w = weights[:, column]
        wanted = fit_logistic(x, y, weights=w).coefficients
        np.testing.assert_allclose(plain[:, column], wanted, rtol=1e-9)
        firth = fit_firth(x, y, weights=w, limits_for=()).coefficients
        np.testing.assert_allclose(penalised[:, column], firth, rtol=1e-7)


def test_penalised_models_have_their_own_optimism(x: np.ndarray, y: np.ndarray) -> None:
    animal = np.arange(len(y)) // 2
    both = [
        bootstrap_optimism(x, y, cluster=animal, penalised=kind, replicates=30, seed=1)
        for kind in (False, True)
    ]
    assert both[0] is not None
    assert both[1] is not None
    assert both[1].slope.apparent > 1 > both[1].slope.corrected > both[0].slope.corrected
    again = bootstrap_optimism(x, y, cluster=animal, penalised=True, replicates=30, seed=1)
    assert again == both[1]


def test_a_group_whose_model_has_no_fit_is_named() -> None:
    x = np.array([[0.0], [1], [0], [1], [0], [1], [0], [1]])
    y = np.array([0.0, 1, 1, 0, 0, 0, 0, 0])
    group = np.array(["a"] * 4 + ["b"] * 4)
    found = leave_groups_out(x, y, group)
    assert found.failed == ("a",)
    assert np.isnan(found.risk[:4]).all()
    assert np.isfinite(logit(found.risk[4:])).all()
    with pytest.raises(ValueError, match="one group only"):
        leave_groups_out(x, y, np.full(8, "a"))


def test_a_term_that_is_constant_without_a_cluster_goes_with_it(
    x: np.ndarray, y: np.ndarray
) -> None:
    """Race as the cluster, its indicators as terms: without race 2 its own term is gone."""
    race = np.where(x[:, 2] == 1, "2", np.where(x[:, 3] == 1, "3", "1"))
    found = influence_by_cluster(x, y, race, column=1 + TERMS.index("smoke"))
    by_label = dict(zip(found.labels, found.coefficients, strict=True))
    left = np.delete(x[race != "2"], 2, axis=1)
    wanted = fit_logistic(left, y[race != "2"]).coefficients
    np.testing.assert_allclose(np.delete(by_label["2"], 3), wanted, rtol=1e-9)
    assert np.isnan(by_label["2"][3])
    assert np.isfinite(by_label["1"]).sum() == len(by_label["1"]) - 1
