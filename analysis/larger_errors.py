"""The more cautious of two variances of one fit: robust by cluster, or the model's own."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.arrays import FloatArray
from analysis.chi_square import Test, wald_test
from analysis.firth import FirthFit
from analysis.linear_effects import LinearEffects, linear_effects
from analysis.logistic import LogisticFit
from analysis.standardise import StandardisedRisks
from analysis.two_proportions import Contrast


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CautiousFit:
    """A fit with the covariances its intervals may rest on: one, or the robust and the model's.

    With both, each number takes the error that is the larger for that number, and each joint
    test the smaller statistic: robust errors are themselves uncertain where few clusters had the
    rarer outcome, and then more often too small than too large.
    """

    fit: LogisticFit | FirthFit
    covariances: tuple[FloatArray, ...]  # each (p, p)

    def each(self) -> tuple[LogisticFit | FirthFit, ...]:
        """Give the fit once with each covariance."""
        return tuple(replace(self.fit, covariance=item) for item in self.covariances)


def larger_errors(covariances: Sequence[FloatArray]) -> FloatArray:
    """Give the larger standard error of each coefficient, shape (p,)."""
    return np.max([np.sqrt(np.diag(item)) for item in covariances], axis=0)


def cautious_wald(
    coefficients: FloatArray, covariances: Sequence[FloatArray], places: Sequence[int]
) -> Test:
    """Test that the coefficients at `places` are zero: the smaller of the statistics.

    For one coefficient that is its square over the larger variance.
    """
    block = np.ix_(places, places)
    tests = [wald_test(coefficients[list(places)], item[block]) for item in covariances]
    untold = [test for test in tests if np.isnan(test.statistic)]
    return untold[0] if untold else min(tests, key=lambda test: test.statistic)


def cautious_effects(
    found: CautiousFit, one: FloatArray, zero: FloatArray, *, confidence: float
) -> LinearEffects:
    """Give the effects of ``linear_effects``, each with its larger error."""
    effects = [
        linear_effects(found.fit.coefficients, item, one, zero, confidence=confidence)
        for item in found.covariances
    ]
    errors = np.stack([item.std_error for item in effects])
    first = np.argmax(errors, axis=0), np.arange(errors.shape[1])
    low, high, p_value = (
        np.stack([getattr(item, name) for item in effects])[first]
        for name in ("low", "high", "p_value")
    )
    return LinearEffects(
        estimate=effects[0].estimate, std_error=errors[first], low=low, high=high, p_value=p_value
    )


def wider(found: Sequence[Contrast]) -> Contrast:
    """Give the contrast with the larger standard error."""
    return max(found, key=lambda contrast: contrast.std_error)


def wider_risks(found: Sequence[StandardisedRisks]) -> StandardisedRisks:
    """Give each number with its larger error; the number needed goes with the difference."""
    by_difference = max(found, key=lambda risks: risks.difference.std_error)
    return replace(
        by_difference,
        reference=wider([risks.reference for risks in found]),
        exposed=wider([risks.exposed for risks in found]),
        ratio=wider([risks.ratio for risks in found]),
    )
