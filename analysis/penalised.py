"""Profile a penalised likelihood: limits and test of one coefficient, whatever the model."""

from collections.abc import Callable, Sequence

import numpy as np

from analysis.arrays import BoolArray, FloatArray, inverse
from analysis.chi_square import NO_TEST, Test, chi_square_test
from analysis.kernels.penalised import PenalisedTop
from analysis.profile import profile_limit

Climb = Callable[[FloatArray, BoolArray], PenalisedTop]
"""From a start and the coefficients that are free, both shape (p,), to the top over these."""


def asked_places(limits_for: Sequence[str] | None, names: tuple[str, ...]) -> tuple[int, ...]:
    """Give the places of the terms whose limits are wanted: all where `limits_for` is left out.

    Raises
    ------
    ValueError
        If a name is not one of the model's.
    """
    if limits_for is None:
        return tuple(range(len(names)))
    unknown = [name for name in limits_for if name not in names]
    if unknown:
        raise ValueError(f"limits_for must name terms of the model, got {unknown[0]!r}")
    return tuple(names.index(name) for name in limits_for)


def profile_of(
    climb: Climb, top: PenalisedTop, place: int, root_target: float
) -> tuple[float, float, Test]:
    """Profile the coefficient at `place`: its limits in the units of the climb, and its test.

    Each climb with the coefficient held starts on the tangent of the profile at the top.
    """
    covariance = inverse(top.information)
    slopes = covariance[:, place] / covariance[place, place]
    free = np.arange(len(slopes)) != place
    middle = float(top.coefficients[place])

    def drop(value: float) -> tuple[float, float]:
        """Twice the drop at `value` and its derivative; NaN where the climb failed."""
        start = top.coefficients + slopes * (value - middle)
        start[place] = value
        held = climb(start, free)
        if not held.converged:
            return float("nan"), float("nan")
        fallen = 2 * (top.log_likelihood - held.log_likelihood)
        return fallen, -2 * float(held.gradient[place])

    reach = root_target * float(np.sqrt(covariance[place, place]))
    low, high = (
        profile_limit(drop, middle, first_guess=guess, root_target=root_target)
        for guess in (middle - reach, middle + reach)
    )
    return low, high, chi_square_test(drop(0.0)[0], 1)


def all_terms_test(top: PenalisedTop, null: PenalisedTop, terms: int) -> Test:
    """Penalised likelihood-ratio test of all terms, the penalty from the whole design."""
    if not null.converged:
        return NO_TEST
    return chi_square_test(2 * (top.log_likelihood - null.log_likelihood), terms)
