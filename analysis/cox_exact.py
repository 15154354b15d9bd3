"""Cox regression with exact treatment of ties: days are discrete, ties are real."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, IntArray, cluster_codes, column_names
from analysis.chi_square import NO_TEST, Test, chi_square_test, wald_test
from analysis.cox_rows import checked_rows
from analysis.fit_concerns import FEW_EVENTS_PER_PARAMETER
from analysis.rank import find_redundant


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExactCoxFit:
    """A fitted model; where `converged` is false all numbers are NaN and `concerns` says why."""

    names: tuple[str, ...]
    coefficients: FloatArray  # (p,)
    covariance: FloatArray  # (p, p), inverse information
    log_likelihood: float
    log_likelihood_null: float
    likelihood_ratio: Test
    score: Test
    wald: Test
    n: int
    events: int
    converged: bool
    concerns: tuple[str, ...]


def fit_cox_exact(
    x: npt.ArrayLike,
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    strata: npt.ArrayLike | None = None,
    names: Sequence[str] = (),
) -> ExactCoxFit:
    """Fit a Cox model by the exact (discrete) partial likelihood.

    Parameters
    ----------
    x, time, event
        As for ``fit_cox``; shapes (n, p), (n,), (n,).
    strata
        Label of each row's stratum.

    Returns
    -------
    ExactCoxFit
        The conditional logistic likelihood of which rows had the event on each day, given how
        many [1]_; the sums over all choices are built row by row. Coefficients are log odds
        ratios of the discrete hazard. R: ``coxph(..., ties = "exact")``.

    Raises
    ------
    ValueError
        As ``fit_cox``; or if a day has so many ties that the sums overflow.

    References
    ----------
    .. [1] Cox DR. J R Stat Soc B 1972;34:187-220, section 6.
    .. [2] Gail MH, Lubin JH, Rubinstein LV. Biometrika 1981;68:703-707.
    """
    rows = checked_rows(x, time, event, entry=None, strata=strata, weights=None, cluster=None)
    labels = column_names(names, rows.x.shape[1])
    events = int(rows.event.sum())
    if not events or find_redundant(rows.x, labels):
        concerns = ("not_identified",) if events else ("no_events", "not_identified")
        return no_exact_fit(labels, len(rows.time), events, concerns)
    centred = rows.x - rows.x.mean(axis=0)
    blocks = np.zeros(len(centred), np.int64)
    if strata is not None:
        blocks = cluster_codes(np.asarray(strata), rows=len(centred))[0]
    days = _Days(centred, rows.time, rows.event, blocks)
    null = days.likelihood(np.zeros(len(labels)))
    found = _maximise(days)
    if found is None:
        return no_exact_fit(labels, len(rows.time), events, ("not_converged",))
    beta, (top, _, information) = found
    covariance: FloatArray = np.linalg.inv(information).astype(np.float64)
    few = events / len(labels) < FEW_EVENTS_PER_PARAMETER
    return ExactCoxFit(
        names=labels, coefficients=beta, covariance=covariance,
        log_likelihood=top, log_likelihood_null=null[0],
        likelihood_ratio=chi_square_test(2 * (top - null[0]), len(labels)),
        score=chi_square_test(float(null[1] @ np.linalg.solve(null[2], null[1])), len(labels)),
        wald=wald_test(beta, covariance), n=len(rows.time), events=events, converged=True,
        concerns=("few_events_per_parameter",) if few else (),
    )  # fmt: skip


class _Days:
    """Rows ordered so that the risk set of a day is all rows before its end."""

    def __init__(self, x: FloatArray, time: FloatArray, event: FloatArray, block: IntArray) -> None:
        self.order = np.lexsort((-time, block))
        self.x, self.event = x[self.order], event[self.order] == 1
        self.time, self.block = time[self.order], block[self.order]
        day = np.column_stack([self.block, self.time])
        last = np.append((day[1:] != day[:-1]).any(axis=1), True)
        self.ends = np.flatnonzero(last)
        self.most = max(
            int(self.event[start : end + 1].sum())
            for start, end in zip(np.append(0, self.ends[:-1] + 1), self.ends, strict=True)
        )

    def likelihood(self, beta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Give log likelihood, score (p,) and information (p, p)."""
        linear = self.x @ beta
        theta = np.exp(linear - linear.max())
        total, score = 0.0, np.zeros(len(beta))
        information = np.zeros((len(beta), len(beta)))
        sums = _Sums(self.most, len(beta))
        start = 0
        for end in self.ends:
            if start and self.block[start] != self.block[start - 1]:
                sums = _Sums(self.most, len(beta))
            for row in range(start, end + 1):
                sums.add(theta[row], self.x[row])
            cases = np.flatnonzero(self.event[start : end + 1]) + start
            if len(cases):
                value, slope, curve = sums.of(len(cases))
                total += float(np.log(theta[cases]).sum()) - value
                score += self.x[cases].sum(axis=0) - slope
                information += curve
            start = end + 1
        return total, score, information


class _Sums:
    """Sums over all choices of k rows of the product of their hazards, with two derivatives."""

    def __init__(self, most: int, terms: int) -> None:
        self.value = np.zeros(most + 1)
        self.value[0] = 1.0
        self.slope = np.zeros((most + 1, terms))
        self.curve = np.zeros((most + 1, terms, terms))

    def add(self, theta: float, x: FloatArray) -> None:
        """Let one more row be at risk."""
        value, slope = self.value[:-1], self.slope[:-1]
        mixed = slope[:, :, None] * x
        self.curve[1:] += theta * (
            self.curve[:-1] + mixed + mixed.swapaxes(1, 2) + value[:, None, None] * np.outer(x, x)
        )
        self.slope[1:] += theta * (slope + value[:, None] * x)
        self.value[1:] += theta * value

    def of(self, k: int) -> tuple[float, FloatArray, FloatArray]:
        """Give the logarithm of the sum for `k` cases and its two derivatives."""
        if not np.isfinite(self.value[k]) or not np.isfinite(self.curve[k]).all():
            raise ValueError(f"ties must not be exact where one day has {k} events among so many")
        slope = self.slope[k] / self.value[k]
        return (
            float(np.log(self.value[k])),
            slope,
            self.curve[k] / self.value[k] - np.outer(slope, slope),
        )


def _maximise(days: _Days) -> tuple[FloatArray, tuple[float, FloatArray, FloatArray]] | None:
    """Climb by Newton's steps with halving; None where it runs away or the score stays."""
    beta = np.zeros(days.x.shape[1])
    here = days.likelihood(beta)
    for _ in range(30):
        step = np.linalg.solve(here[2], here[1])
        if float(here[1] @ step) < 1e-18 * max(1.0, abs(here[0])):
            return beta, here
        following = days.likelihood(beta + step)
        while not following[0] >= here[0] and float(np.abs(step).max()) > 1e-12:
            step = step / 2
            following = days.likelihood(beta + step)
        beta, here = beta + step, following
        if float(np.abs(step).max()) < 1e-9 * max(1.0, float(np.abs(beta).max())):
            return beta, here
    return None


def no_exact_fit(
    names: tuple[str, ...], n: int, events: int, concerns: tuple[str, ...]
) -> ExactCoxFit:
    """Give a fit without a number that says why."""
    p, nan = len(names), float("nan")
    return ExactCoxFit(
        names=names, coefficients=np.full(p, nan), covariance=np.full((p, p), nan),
        log_likelihood=nan, log_likelihood_null=nan, likelihood_ratio=NO_TEST, score=NO_TEST,
        wald=NO_TEST, n=n, events=events, converged=False, concerns=concerns,
    )  # fmt: skip
