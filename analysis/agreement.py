"""Do raters agree? Intraclass correlation, limits of agreement, weighted kappa."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import fdtri, stdtrit

from analysis.arrays import FloatArray, finite_matrix, finite_vector
from analysis.chi_square import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class IntraclassCorrelation:
    """Two-way, absolute agreement, of one rater and of the mean of all k raters."""

    single: float
    low: float
    high: float
    mean: float  # of k raters
    consistency: float  # one rater, differences of level between raters left out
    between_targets: float  # mean squares
    between_raters: float
    residual: float
    n: int
    raters: int
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsOfAgreement:
    """Bland and Altman's limits, mean difference -/+ z SD, each with its own limits."""

    bias: float
    bias_low: float
    bias_high: float
    deviation: float
    lower: float
    lower_low: float
    lower_high: float
    upper: float
    upper_low: float
    upper_high: float
    n: int
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Kappa:
    """Weighted kappa of two raters with its large-sample error; NaN where all is one category."""

    estimate: float
    std_error: float
    low: float
    high: float
    observed: float  # weighted agreement
    expected: float
    n: int
    confidence: float


def intraclass_correlation(
    ratings: npt.ArrayLike, *, confidence: float = 0.95
) -> IntraclassCorrelation:
    """Estimate ICC(2,1) from targets in rows and raters in columns.

    Parameters
    ----------
    ratings
        Shape (n, k), complete, n and k at least 2.

    Raises
    ------
    ValueError
        If a value is missing, there are fewer than two targets or raters, or nothing varies.

    Notes
    -----
    Raters and targets are taken as drawn from many. Limits by the approximation of Fleiss and
    Shrout [2]_. R: ``psych::ICC(x, lmer = FALSE)``, row ICC2.

    References
    ----------
    .. [1] Shrout PE, Fleiss JL. Psychol Bull 1979;86:420-428.
    .. [2] Fleiss JL, Shrout PE. Psychometrika 1978;43:259-262.
    """
    x = finite_matrix(ratings, "ratings")
    n, k = x.shape
    if n < 2 or k < 2:
        raise ValueError(f"ratings needs two targets and two raters, got {n} and {k}")
    grand = x.mean()
    targets = k * float(((x.mean(axis=1) - grand) ** 2).sum()) / (n - 1)
    raters = n * float(((x.mean(axis=0) - grand) ** 2).sum()) / (k - 1)
    inner = x - x.mean(axis=1)[:, None] - x.mean(axis=0) + grand
    residual = float((inner**2).sum()) / ((n - 1) * (k - 1))
    if targets + raters + residual == 0:
        raise ValueError("ratings are all alike: agreement cannot be told")
    single = (targets - residual) / (targets + (k - 1) * residual + k * (raters - residual) / n)
    low, high = _icc_limits((targets, raters, residual), single, n, k, confidence=confidence)
    return IntraclassCorrelation(
        single=single, low=low, high=high,
        mean=(targets - residual) / (targets + (raters - residual) / n),
        consistency=(targets - residual) / (targets + (k - 1) * residual),
        between_targets=targets, between_raters=raters, residual=residual, n=n, raters=k,
        confidence=confidence,
    )  # fmt: skip


def limits_of_agreement(
    one: npt.ArrayLike, other: npt.ArrayLike, *, confidence: float = 0.95, z: float | None = None
) -> LimitsOfAgreement:
    """Give the limits of one minus other, shape (n,) each, n at least 3.

    `z` is the number of standard deviations, by default that of `confidence` (1.96); the limits'
    own intervals take a variance of 3 s^2 / n and t with n - 1 degrees of freedom.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, or there are fewer than three pairs.

    References
    ----------
    .. [1] Bland JM, Altman DG. Lancet 1986;327:307-310.
    """
    first = finite_vector(one, "one")
    difference = first - finite_vector(other, "other", rows=len(first))
    n = len(difference)
    if n < 3:
        raise ValueError(f"limits of agreement need three pairs, got {n}")
    bias, deviation = float(difference.mean()), float(difference.std(ddof=1))
    width = (normal_quantile(confidence) if z is None else z) * deviation
    t = float(stdtrit(n - 1, 0.5 + confidence / 2))
    of_bias, of_limit = t * deviation / n**0.5, t * deviation * (3 / n) ** 0.5
    lower, upper = bias - width, bias + width
    return LimitsOfAgreement(
        bias=bias, bias_low=bias - of_bias, bias_high=bias + of_bias, deviation=deviation,
        lower=lower, lower_low=lower - of_limit, lower_high=lower + of_limit,
        upper=upper, upper_low=upper - of_limit, upper_high=upper + of_limit,
        n=n, confidence=confidence,
    )  # fmt: skip


def weighted_kappa(
    one: Sequence[str],
    other: Sequence[str],
    *,
    categories: Sequence[str],
    weights: Literal["none", "linear", "quadratic"] = "quadratic",
    confidence: float = 0.95,
) -> Kappa:
    """Estimate agreement beyond chance of two raters on ordered categories.

    Raises
    ------
    ValueError
        If lengths differ, nobody was rated, or a rating is none of the categories.

    References
    ----------
    .. [1] Cohen J. Psychol Bull 1968;70:213-220.
    .. [2] Fleiss JL, Cohen J, Everitt BS. Psychol Bull 1969;72:323-327 (the error).
    """
    table = _table(one, other, categories)
    n, share = int(table.sum()), table / table.sum()
    agree = _agreement(len(categories), weights)
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    observed = float((agree * share).sum())
    expected = float((agree * np.outer(rows, columns)).sum())
    if expected >= 1:
        nan = float("nan")
        return Kappa(estimate=nan, std_error=nan, low=nan, high=nan, observed=observed,
                     expected=expected, n=n, confidence=confidence)  # fmt: skip
    kappa = (observed - expected) / (1 - expected)
    pull = (agree @ columns)[:, None] + (rows @ agree)[None, :]
    spread = float((share * (agree - pull * (1 - kappa)) ** 2).sum())
    inner = kappa - expected * (1 - kappa)
    error = float(np.sqrt(max(spread - inner**2, 0.0) / n) / (1 - expected))
    half = normal_quantile(confidence) * error
    return Kappa(
        estimate=kappa, std_error=error, low=kappa - half, high=min(kappa + half, 1.0),
        observed=observed, expected=expected, n=n, confidence=confidence,
    )  # fmt: skip


def _icc_limits(
    squares: tuple[float, float, float], single: float, n: int, k: int, *, confidence: float
) -> tuple[float, float]:
    targets, raters, residual = squares
    if residual == 0:
        return single, single
    ratio = raters / residual
    part = k * single * ratio + n * (1 + (k - 1) * single) - k * single
    bottom = (n - 1) * (k * single * ratio) ** 2 + (n * (1 + (k - 1) * single) - k * single) ** 2
    freedom = (k - 1) * (n - 1) * part**2 / bottom
    tail = 0.5 + confidence / 2
    above, below = float(fdtri(n - 1, freedom, tail)), float(fdtri(freedom, n - 1, tail))
    rest = k * raters + (k * n - k - n) * residual
    low = n * (targets - above * residual) / (above * rest + n * targets)
    high = n * (below * targets - residual) / (rest + n * below * targets)
    return low, high


def _table(one: Sequence[str], other: Sequence[str], categories: Sequence[str]) -> FloatArray:
    if len(one) != len(other) or not len(one):
        raise ValueError(f"both raters must rate the same targets, got {len(one)}, {len(other)}")
    places = {name: place for place, name in enumerate(categories)}
    table = np.zeros((len(places), len(places)))
    for first, second in zip(one, other, strict=True):
        for rating in (first, second):
            if rating not in places:
                raise ValueError(f"{rating!r} is none of the categories {', '.join(categories)}")
        table[places[first], places[second]] += 1
    return table


def _agreement(k: int, weights: str) -> FloatArray:
    apart = np.abs(np.subtract.outer(np.arange(k), np.arange(k))) / max(k - 1, 1)
    power = {"linear": 1, "quadratic": 2}.get(weights)
    return (apart == 0).astype(np.float64) if power is None else 1 - apart**power
