"""Exact conditional logistic regression: one term of a small table, the others' totals held."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from analysis.arrays import FloatArray, IntArray, column_names, finite_matrix, zero_one
from analysis.conditional_count import (
    conditional_ratio,
    count_chances,
    exact_limits,
    median_unbiased_ratio,
    upper_tail,
)

MOST_STATES = 200_000  # totals kept at once while rows are gone through
SAME = 1 + 1e-7  # chances this close count as equal, as in R's fisher.test


class TooManyTotals(ValueError):
    """The table is too large, or its covariates too many, for exact estimation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExactRatio:
    """Conditional odds ratio of one term; 0 or infinite at an end, NaN where nothing is told."""

    name: str
    odds_ratio: float
    median_unbiased: float
    low: float
    high: float
    confidence: float
    p_twice: float  # twice the smaller tail: agrees with the limits
    p_no_likelier: float  # chances of the totals no likelier than the one seen
    totals: int  # that the term can have


def exact_logistic(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    term: str,
    *,
    names: Sequence[str] = (),
    confidence: float = 0.95,
    most_states: int = MOST_STATES,
) -> ExactRatio:
    """Estimate the odds ratio of one column given what the others and the intercept add up to.

    Parameters
    ----------
    x
        Terms in whole numbers, without the intercept, shape (n, q): levels as 0 and 1.
    y
        Outcome, 0 or 1, shape (n,).
    term
        The column of `x` that is told of.
    names
        One name a column of `x`.
    most_states
        How many different totals of the columns may be kept at once.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, `y` is not 0/1, `term` is no column, or a column is
        not in whole numbers (it is named).
    TooManyTotals
        If there are more than `most_states`.

    Notes
    -----
    Given the totals of all other columns over the rows with the event, the total of `term` has a
    distribution without other coefficients [1]_. It is counted out row pattern by row pattern,
    ways to the same totals joined, totals that can no longer be reached dropped [2]_. Rows are
    taken as independent. R: ``fisher.test`` without other terms, ``mantelhaen.test(exact = TRUE)``
    with one factor.

    References
    ----------
    .. [1] Cox DR. Analysis of Binary Data. Methuen 1970, chapter 4.
    .. [2] Hirji KF, Mehta CR, Patel NR. J Am Stat Assoc 1987;82:1110-1117.
    .. [3] Hirji KF, Tsiatis AA, Mehta CR. Am Stat 1989;43:7-11 (median unbiased).
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    labels = column_names(names, matrix.shape[1])
    if term not in labels:
        raise ValueError(f"term must be one of {', '.join(labels)}, got {term!r}")
    whole = np.rint(matrix)
    for place, name in enumerate(labels):
        if (whole[:, place] != matrix[:, place]).any():
            raise ValueError(f"{name} is not in whole numbers: exact estimation counts totals")
    own = whole[:, labels.index(term)]
    others = np.delete(whole, labels.index(term), axis=1)
    counts, log_ways = _totals(own, others, outcome, most_states)
    grid = np.full(int(counts[-1] - counts[0]) + 1, -np.inf)
    grid[(counts - counts[0]).astype(np.intp)] = log_ways
    at = round(float(own @ outcome)) - int(counts[0])
    return _told(grid, at, term, confidence)


def _told(grid: FloatArray, at: int, term: str, confidence: float) -> ExactRatio:
    chances = count_chances(0.0, grid)
    low, high = exact_limits(grid, at, share=1.0, confidence=confidence)
    tails = upper_tail(0.0, grid, at, share=1.0), 1 - upper_tail(0.0, grid, at, share=0.0)
    no_likelier = chances[chances <= chances[at] * SAME].sum()
    return ExactRatio(
        name=term, odds_ratio=conditional_ratio(grid, at),
        median_unbiased=median_unbiased_ratio(grid, at), low=low, high=high,
        confidence=confidence, p_twice=min(1.0, 2 * min(tails)),
        p_no_likelier=min(1.0, float(no_likelier)), totals=int(np.isfinite(grid).sum()),
    )  # fmt: skip


def _totals(
    own: FloatArray, others: FloatArray, y: FloatArray, most_states: int
) -> tuple[FloatArray, FloatArray]:
    """Count the ways to each total of the term, those of the intercept and the others as seen."""
    held = np.column_stack([np.ones(len(y)), others])
    wanted = held.T @ y
    patterns, inverse = np.unique(np.column_stack([own, held]), axis=0, return_inverse=True)
    sizes = np.bincount(inverse.reshape(-1))
    least, most = _still_to_come(patterns[:, 1:], sizes)
    states, log_ways = np.zeros((1, patterns.shape[1])), np.zeros(1)
    for step, (pattern, size) in enumerate(zip(patterns, sizes, strict=True)):
        events = np.arange(size + 1, dtype=np.float64)
        ways = gammaln(size + 1) - gammaln(events + 1) - gammaln(size - events + 1)
        if len(states) * len(events) > 20 * most_states:
            raise TooManyTotals(_too_many(most_states))
        grown = (states[:, None, :] + events[:, None] * pattern).reshape(-1, len(pattern))
        weights = (log_ways[:, None] + ways).reshape(-1)
        left = wanted - grown[:, 1:]
        reached = ((left >= least[step + 1]) & (left <= most[step + 1])).all(axis=1)
        states, place = np.unique(grown[reached], axis=0, return_inverse=True)
        log_ways = _joined(weights[reached], place.reshape(-1), len(states))
        if len(states) > most_states:
            raise TooManyTotals(_too_many(most_states))
    return states[:, 0], log_ways


def _still_to_come(held: FloatArray, sizes: IntArray) -> tuple[FloatArray, FloatArray]:
    """Give the least and the most that patterns from each on can add, shape (patterns + 1, q)."""
    each = held * sizes[:, None]
    none = np.zeros((1, held.shape[1]))
    least, most = (
        np.vstack([np.cumsum(part[::-1], axis=0)[::-1], none])
        for part in (np.minimum(each, 0), np.maximum(each, 0))
    )
    return least, most


def _joined(log_ways: FloatArray, place: IntArray, groups: int) -> FloatArray:
    """Sum ways to the same totals, on the log scale."""
    top = np.full(groups, -np.inf)
    np.maximum.at(top, place, log_ways)
    return top + np.log(np.bincount(place, np.exp(log_ways - top[place]), groups))


def _too_many(most_states: int) -> str:
    return (
        f"the table leaves more than {most_states:,} different totals of its terms: too many for "
        "exact estimation"
    )
