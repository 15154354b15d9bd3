"""Robust variance at Firth's estimates: the sandwich written out, and its limit."""

import numpy as np
import pytest

from analysis.cox import fit_cox
from analysis.firth import fit_firth
from analysis.firth_cox import fit_firth_cox
from analysis.logistic import fit_logistic
from analysis.penalised_variance import robust_firth, robust_firth_cox


@pytest.fixture
def x() -> np.ndarray:
    return np.random.default_rng(5).normal(size=(120, 2))


@pytest.fixture
def y(x: np.ndarray) -> np.ndarray:
    chance = 1 / (1 + np.exp(1.5 - x[:, 0]))
    return (np.random.default_rng(6).random(len(x)) < chance).astype(float)


@pytest.fixture
def animal() -> np.ndarray:
    return np.arange(120) // 2


@pytest.fixture
def day() -> np.ndarray:
    """Follow-up in whole weeks, so that some deaths are tied."""
    return np.ceil(np.random.default_rng(7).exponential(20, 120)) * 7


def by_hand(x: np.ndarray, y: np.ndarray, beta: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Bread and scores a row at a time: White's sandwich HC0 (White 1980, from memory)."""
    bread, meat = np.zeros((3, 3)), np.zeros((3, 3))
    for terms, outcome, weight in zip(x, y, weights, strict=True):
        row = np.array([1.0, *terms])
        risk = 1 / (1 + np.exp(-float(row @ beta)))
        bread += weight * risk * (1 - risk) * np.outer(row, row)
        meat += (weight * (outcome - risk)) ** 2 * np.outer(row, row)
    return np.linalg.inv(bread) @ meat @ np.linalg.inv(bread)


def test_rows_of_their_own_give_the_sandwich_of_white(x: np.ndarray, y: np.ndarray) -> None:
    fit = fit_firth(x, y, limits_for=())
    found = robust_firth(fit, x, y, cluster=np.arange(120), correction="CR0")
    np.testing.assert_allclose(
        found.covariance, by_hand(x, y, fit.coefficients, np.ones(120)), rtol=1e-10
    )
    assert found.clusters == 120
    corrected = robust_firth(fit, x, y, cluster=np.arange(120)).covariance
    np.testing.assert_allclose(corrected, found.covariance * 120 / 119 * 119 / 117, rtol=1e-12)


def test_rows_of_weight_zero_count_for_nothing(
    x: np.ndarray, y: np.ndarray, animal: np.ndarray
) -> None:
    weights = np.where(np.arange(120) < 90, 1.5, 0.0)
    fit = fit_firth(x, y, weights=weights, limits_for=())
    all_rows = robust_firth(fit, x, y, cluster=animal, weights=weights)
    used = robust_firth(fit, x[:90], y[:90], cluster=animal[:90], weights=weights[:90])
    np.testing.assert_allclose(all_rows.covariance, used.covariance, rtol=1e-12)
    assert all_rows.clusters == used.clusters == 45
    alone = robust_firth(fit, x, y, cluster=np.arange(120), weights=weights, correction="CR0")
    np.testing.assert_allclose(
        alone.covariance, by_hand(x, y, fit.coefficients, weights), rtol=1e-10
    )


def test_copies_of_the_data_bring_it_to_maximum_likelihood(
    x: np.ndarray, y: np.ndarray, animal: np.ndarray
) -> None:
    """The penalty is of order 1 beside n: ten times the rows, a tenth of the difference."""
    apart = []
    for copies in (10, 100):
        many, outcome = np.tile(x, (copies, 1)), np.tile(y, copies)
        cluster = np.concatenate([animal + 60 * place for place in range(copies)])
        robust = robust_firth(fit_firth(many, outcome, limits_for=()), many, outcome,
                              cluster=cluster)  # fmt: skip
        likelihood = fit_logistic(many, outcome, cluster=cluster)
        apart.append(np.abs(robust.covariance / likelihood.covariance - 1).max())
    assert apart[1] < 0.002
    assert apart[0] / apart[1] == pytest.approx(10, rel=0.1)


def score_residuals(
    x: np.ndarray, time: np.ndarray, event: np.ndarray, beta: np.ndarray
) -> np.ndarray:
    """Scores of a Cox model with Breslow's ties, a death at a time (Lin and Wei 1989)."""
    risk, scores = np.exp(x @ beta), np.zeros_like(x)
    for death in np.flatnonzero(event):
        there = time >= time[death]
        mean = risk[there] @ x[there] / risk[there].sum()
        scores[death] += x[death] - mean
        scores[there] -= (risk[there] / risk[there].sum())[:, None] * (x[there] - mean)
    return scores


def test_cox_scores_are_summed_by_cluster(
    x: np.ndarray, y: np.ndarray, day: np.ndarray, animal: np.ndarray
) -> None:
    fit = fit_firth_cox(x, day, y, ties="breslow", limits_for=())
    scores = score_residuals(x, day, y, fit.coefficients)
    sums = scores[::2] + scores[1::2]
    found = robust_firth_cox(fit, animal)
    np.testing.assert_allclose(
        found.covariance, fit.covariance @ sums.T @ sums @ fit.covariance, rtol=1e-10
    )
    assert found.clusters == 60


def test_cox_at_the_likelihood_s_own_estimate_is_that_of_lin_and_wei(
    x: np.ndarray, y: np.ndarray, day: np.ndarray, animal: np.ndarray
) -> None:
    """Strata of copies leave the estimate and shrink the penalty beside the likelihood."""
    apart = []
    for copies in (5, 50):
        many, days, events = np.tile(x, (copies, 1)), np.tile(day, copies), np.tile(y, copies)
        strata = np.repeat(np.arange(copies), 120)
        cluster = np.tile(animal, copies) + 60 * strata
        fit = fit_firth_cox(many, days, events, strata=strata, limits_for=())
        likelihood = fit_cox(many, days, events, strata=strata, cluster=cluster)
        robust = robust_firth_cox(fit, cluster)
        apart.append(np.abs(robust.covariance / likelihood.covariance - 1).max())
    assert apart[1] < 0.005
    assert apart[0] / apart[1] == pytest.approx(10, rel=0.15)


def test_labels_must_fit_the_rows(x: np.ndarray, y: np.ndarray, day: np.ndarray) -> None:
    with pytest.raises(ValueError, match="cluster must have shape"):
        robust_firth_cox(fit_firth_cox(x, day, y, limits_for=()), np.arange(3))
