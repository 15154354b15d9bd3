"""The larger of robust and model-based errors, number by number, and the smaller joint test."""

import numpy as np
import pytest

from analysis.chi_square import wald_test
from analysis.firth import fit_firth
from analysis.larger_errors import (
    CautiousFit,
    cautious_effects,
    cautious_wald,
    larger_errors,
    wider_risks,
)
from analysis.penalised_variance import robust_firth
from analysis.standardise import standardised_risks

SMALL, LARGE = np.diag([1.0, 4.0, 0.25]), np.diag([2.0, 1.0, 0.25])


@pytest.fixture(scope="module")
def x() -> np.ndarray:
    """Draw two terms of 120 stifles, the first an arm that both stifles of an animal share."""
    drawn = np.random.default_rng(3).normal(size=(120, 2))
    drawn[:, 0] = np.repeat(drawn[::2, 0] > 0, 2)
    return drawn


@pytest.fixture(scope="module")
def found(x: np.ndarray) -> CautiousFit:
    """Fit an outcome that the stifles of an animal mostly share."""
    rng = np.random.default_rng(8)
    fate = np.repeat(rng.normal(size=60), 2) + 0.5 * rng.normal(size=120)
    y = (fate + x[:, 0] > 1.2).astype(float)
    fit = fit_firth(x, y, limits_for=())
    robust = robust_firth(fit, x, y, cluster=np.arange(120) // 2)
    return CautiousFit(fit=fit, covariances=(robust.covariance, fit.covariance))


def test_each_coefficient_takes_its_own_larger_error() -> None:
    assert larger_errors((SMALL, LARGE)).tolist() == [2**0.5, 2.0, 0.5]
    assert larger_errors((SMALL,)).tolist() == [1.0, 2.0, 0.5]


def test_joint_test_is_the_smaller_and_of_one_coefficient_its_square_over_the_larger() -> None:
    beta = np.array([0.5, 3.0, 1.0])
    test = cautious_wald(beta, (SMALL, LARGE), [1])
    assert test.statistic == pytest.approx((3 / 2) ** 2)
    both = cautious_wald(beta, (SMALL, LARGE), [1, 2])
    assert both == wald_test(beta[1:], SMALL[1:, 1:])
    assert (both.statistic, both.df) == (pytest.approx(9 / 4 + 4), 2)


def test_without_a_robust_test_there_is_none() -> None:
    """Fewer clusters than coefficients: the model's own test would ignore the clusters."""
    flat = np.ones((2, 2))
    assert np.isnan(cautious_wald(np.ones(2), (np.eye(2), flat), [0, 1]).statistic)
    assert np.isnan(cautious_wald(np.ones(2), (flat, np.eye(2)), [0, 1]).statistic)


def test_every_contrast_has_the_larger_error_of_its_own(x: np.ndarray, found: CautiousFit) -> None:
    arms = [np.column_stack([np.full(120, arm), x[:, 1]]) for arm in (0.0, 1.0)]
    robust, model = (standardised_risks(fit, *arms) for fit in found.each())
    chosen = wider_risks([robust, model])
    for name in ("reference", "exposed", "difference", "ratio"):
        pair = [getattr(risks, name) for risks in (robust, model)]
        wide = max(pair, key=lambda contrast: contrast.high - contrast.low)
        assert getattr(chosen, name) == wide
        assert pair[0].std_error != pair[1].std_error
    assert chosen.number_needed.low == pytest.approx(1 / chosen.difference.high)


def test_effects_along_a_term_take_the_larger_error_at_each_point(found: CautiousFit) -> None:
    one, zero = np.array([[1.0, 0.0], [0.0, 1.0], [2.0, -3.0]]), np.zeros((3, 2))
    effects = cautious_effects(found, one, zero, confidence=0.95)
    errors = [
        np.sqrt(np.diag(one @ covariance[1:, 1:] @ one.T)) for covariance in found.covariances
    ]
    assert effects.std_error == pytest.approx(np.maximum(*errors))
    assert effects.high - effects.low == pytest.approx(2 * 1.959964 * effects.std_error, rel=1e-6)
    assert effects.estimate == pytest.approx(one @ found.fit.coefficients[1:])
