"""Describe one variable: quartiles, counts, and how far two groups lie apart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.arrays import FloatArray

QUANTILE_DEFINITION = "linear interpolation, type 7 of Hyndman and Fan"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quartiles:
    """Median and quartiles of the values that are there; NaN where there is none."""

    low: float
    median: float
    high: float
    n: int
    n_missing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCount:
    """How often one level occurs, and its share of the values that are there."""

    level: str
    count: int
    share: float  # NaN where nothing is known
    n: int  # known values
    n_missing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A standardised difference; NaN, with the reason, where it does not exist."""

    estimate: float
    n: int
    reference_n: int
    concerns: tuple[str, ...] = ()


def quartiles(values: pl.Series) -> Quartiles:
    """Give median and quartiles, by type 7 of Hyndman and Fan (the default of R and numpy).

    Nulls are counted, not used.

    References
    ----------
    .. [1] Hyndman RJ, Fan Y. Am Stat 1996;50:361-365.
    """
    known = _numbers(values)
    if not known.size:
        nan = float("nan")
        return Quartiles(low=nan, median=nan, high=nan, n=0, n_missing=len(values))
    low, median, high = (float(q) for q in np.quantile(known, [0.25, 0.5, 0.75]))
    missing = len(values) - known.size
    return Quartiles(low=low, median=median, high=high, n=known.size, n_missing=missing)


def level_counts(values: pl.Series, levels: Sequence[str]) -> tuple[LevelCount, ...]:
    """Count each of `levels` in a text column; nulls are counted as missing.

    Raises
    ------
    ValueError
        If a value is none of `levels`: it would be lost.
    """
    known = values.drop_nulls()
    strange = known.filter(~known.is_in(list(levels)))
    if len(strange):
        raise ValueError(f"levels must hold every value, got {strange[0]!r}")
    missing = len(values) - len(known)
    return tuple(_count(known, level, missing) for level in levels)


def standardised_difference(exposed: pl.Series, reference: pl.Series) -> Difference:
    """Give the difference of means over the root of the mean of both variances.

    A Boolean column is taken as 0 and 1: its variance is then p (1 - p). Nulls are left out.

    Notes
    -----
    For numbers the variances have n - 1 in the denominator. No variance in either group and
    different means: no number, and the concern no_overlap.

    References
    ----------
    .. [1] Austin PC. Stat Med 2009;28:3083-3107.
    """
    binary = exposed.dtype == pl.Boolean and reference.dtype == pl.Boolean
    groups = _numbers(exposed), _numbers(reference)
    sizes = groups[0].size, groups[1].size
    fewest = 1 if binary else 2
    if min(sizes) < fewest:
        return _difference(float("nan"), sizes, ("too_few",))
    spread = np.sqrt(np.mean([np.var(group, ddof=0 if binary else 1) for group in groups]))
    gap = float(groups[0].mean() - groups[1].mean())
    if spread == 0:
        return _difference(0.0 if gap == 0 else float("nan"), sizes, _unless(gap == 0))
    return _difference(gap / float(spread), sizes)


def standardised_difference_of_levels(exposed: pl.Series, reference: pl.Series) -> Difference:
    """Give the distance of two distributions over levels, Mahalanobis fashion; never negative.

    For two levels it is the absolute standardised difference of a Boolean. Nulls are left out.

    Notes
    -----
    The first level is dropped; which one makes no difference. Where the mean covariance is
    singular (no level in common) there is no number, and the concern no_overlap.

    References
    ----------
    .. [1] Yang D, Dalton JE. SAS Global Forum 2012, paper 335.
    """
    groups = exposed.drop_nulls(), reference.drop_nulls()
    sizes = len(groups[0]), len(groups[1])
    if min(sizes) == 0:
        return _difference(float("nan"), sizes, ("too_few",))
    levels = sorted(set(groups[0]) | set(groups[1]))[1:]
    shares = [np.array([(group == level).mean() for level in levels]) for group in groups]
    gap = shares[0] - shares[1]
    if not levels or not gap.any():
        return _difference(0.0, sizes)
    covariance = sum(np.diag(share) - np.outer(share, share) for share in shares) / 2
    if np.linalg.matrix_rank(covariance, hermitian=True) < len(levels):
        return _difference(float("nan"), sizes, ("no_overlap",))
    return _difference(float(np.sqrt(gap @ np.linalg.solve(covariance, gap))), sizes)


def _numbers(values: pl.Series) -> FloatArray:
    return values.drop_nulls().cast(pl.Float64).to_numpy()


def _count(known: pl.Series, level: str, missing: int) -> LevelCount:
    count = int((known == level).sum())
    share = count / len(known) if len(known) else float("nan")
    return LevelCount(level=level, count=count, share=share, n=len(known), n_missing=missing)


def _unless(alike: bool) -> tuple[str, ...]:
    return () if alike else ("no_overlap",)


def _difference(
    estimate: float, sizes: tuple[int, int], concerns: tuple[str, ...] = ()
) -> Difference:
    return Difference(estimate=estimate, n=sizes[0], reference_n=sizes[1], concerns=concerns)
