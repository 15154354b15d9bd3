"""Intervals of one proportion, and how much clustering takes from them."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv

from analysis.arrays import cluster_codes, zero_one
from analysis.chi_square import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class Proportion:
    """A proportion with its limits; NaN where nobody was seen."""

    estimate: float
    low: float
    high: float
    events: int
    n: int
    design_effect: float
    confidence: float


def wilson(
    events: int, n: int, *, design_effect: float = 1.0, confidence: float = 0.95
) -> Proportion:
    """Give Wilson's score interval, with `n` divided by the design effect.

    Parameters
    ----------
    events, n
        Number with the outcome and number seen.
    design_effect
        1 for independent stifles, 2 if every animal has two that always agree.

    Raises
    ------
    ValueError
        If not 0 <= events <= n, or the design effect is not above zero.

    Notes
    -----
    R with a design effect of 1: ``prop.test(events, n, correct = FALSE)``.

    References
    ----------
    .. [1] Wilson EB. J Am Stat Assoc 1927;22:209-212.
    .. [2] Newcombe RG. Stat Med 1998;17:857-872.
    """
    _check(events, n)
    if not design_effect > 0:
        raise ValueError(f"design_effect must be above zero, got {design_effect:g}")
    z = normal_quantile(confidence)
    low = high = float("nan")
    if n:
        low, high = wilson_limits(events / n, n / design_effect, z)
    return _proportion(events, n, (low, high), (design_effect, confidence))


def wilson_limits(share: float, n: float, z: float) -> tuple[float, float]:
    """Give Wilson's limits for a share seen among an effective number `n` > 0."""
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * np.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    low = 0.0 if share == 0 else max(0.0, float(middle - half))
    high = 1.0 if share == 1 else min(1.0, float(middle + half))
    return low, high


def clopper_pearson(events: int, n: int, *, confidence: float = 0.95) -> Proportion:
    """Give the exact binomial interval, half of the error kept on each side.

    With no event the upper limit is 1 - (error / 2)^(1 / n): 0.168 for 0 of 20.

    Raises
    ------
    ValueError
        If not 0 <= events <= n.

    Notes
    -----
    R: ``binom.test(events, n)``.

    References
    ----------
    .. [1] Clopper CJ, Pearson ES. Biometrika 1934;26:404-413.
    """
    _check(events, n)
    normal_quantile(confidence)
    tail = (1 - confidence) / 2
    low = high = float("nan")
    if n:
        low = 0.0 if events == 0 else float(betaincinv(events, n - events + 1, tail))
        high = 1.0 if events == n else float(betaincinv(events + 1, n - events, 1 - tail))
    return _proportion(events, n, (low, high), (1.0, confidence))


def design_effect(y: npt.ArrayLike, cluster: npt.ArrayLike) -> float:
    """Estimate how many times the variance of a proportion is that of independent rows.

    Parameters
    ----------
    y
        Outcome, 0 or 1, shape (n,).
    cluster
        Label of each row's cluster, shape (n,).

    Returns
    -------
    float
        Variance of the ratio estimator over clusters [1]_, G / (G - 1) sum (y_g - n_g p)^2 / n^2,
        divided by p (1 - p) / n; never below 1, and 1 where all outcomes agree or there is one
        cluster, for then it cannot be estimated.

    Notes
    -----
    As Rao and Scott use it. The floor of 1 is a choice: an estimate below it is mostly
    chance, and a wider interval is the safe error.

    References
    ----------
    .. [1] Rao JNK, Scott AJ. Biometrics 1992;48:577-585.
    """
    outcome = zero_one(y, "y")
    codes, clusters = cluster_codes(cluster, rows=len(outcome))
    if clusters < 2 or outcome.all() or not outcome.any():
        return 1.0
    n, share = len(outcome), float(outcome.mean())
    gap = np.bincount(codes, outcome, clusters) - np.bincount(codes, minlength=clusters) * share
    variance = clusters / (clusters - 1) * float(gap @ gap) / n**2
    return max(1.0, variance / (share * (1 - share) / n))


def _check(events: int, n: int) -> None:
    if not 0 <= events <= n:
        raise ValueError(f"events must lie between 0 and n, got {events} of {n}")


def _proportion(
    events: int, n: int, limits: tuple[float, float], settings: tuple[float, float]
) -> Proportion:
    return Proportion(
        estimate=events / n if n else float("nan"),
        low=limits[0],
        high=limits[1],
        events=events,
        n=n,
        design_effect=settings[0],
        confidence=settings[1],
    )
