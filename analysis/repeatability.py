"""Does one rater read the same twice? The coefficient of repeatability."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import finite_vector
from analysis.chi_square import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """How far two readings of one rater lie apart, at most, in 95 of 100 targets."""

    estimate: float  # the coefficient: z SD of the differences, their mean taken as nil
    deviation: float  # within one rater and target: the error of one reading
    n: int
    confidence: float


def repeatability(
    first: npt.ArrayLike, again: npt.ArrayLike, *, confidence: float = 0.95, z: float | None = None
) -> Repeatability:
    """Give the coefficient of repeatability of two readings, shape (n,) each, n at least 1.

    z times the root of the mean squared difference, as two readings of one rater should not
    differ on average; `z` is by default that of `confidence` (1.96).

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, or there is no pair.

    References
    ----------
    .. [1] Bland JM, Altman DG. Lancet 1986;327:307-310.
    """
    one = finite_vector(first, "first")
    difference = one - finite_vector(again, "again", rows=len(one))
    if not len(difference):
        raise ValueError("repeatability needs a pair of readings, got none")
    size = float(np.sqrt((difference**2).mean()))
    width = normal_quantile(confidence) if z is None else z
    return Repeatability(
        estimate=width * size, deviation=size / 2**0.5, n=len(difference), confidence=confidence
    )
