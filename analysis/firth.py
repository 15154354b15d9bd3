"""Firth's penalised logistic regression, for sparse or separated data."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    BoolArray,
    FloatArray,
    column_names,
    finite_matrix,
    inverse,
    non_negative,
    zero_one,
)
from analysis.chi_square import NO_TEST, Test, normal_quantile
from analysis.fit_concerns import why_no_fit
from analysis.kernels.firth import maximise_penalised
from analysis.kernels.penalised import PenalisedTop
from analysis.logistic import INTERCEPT
from analysis.penalised import all_terms_test, asked_places, profile_of
from analysis.rank import Redundant, find_redundant
from analysis.scaling import scaled_design


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FirthFit:
    """A penalised fit; coefficients are log odds ratios, the intercept first.

    `low` and `high` are profile penalised likelihood limits; NaN for a term that was not asked
    for, infinite where the profile does not fall far enough.
    """

    names: tuple[str, ...]
    coefficients: FloatArray  # (p,)
    covariance: FloatArray  # (p, p), inverse information at the penalised estimate
    low: FloatArray  # (p,)
    high: FloatArray  # (p,)
    confidence: float
    tests: tuple[Test, ...]  # penalised likelihood ratio, one a coefficient
    likelihood_ratio: Test  # all terms
    log_likelihood: float  # penalised, in the units of x
    n: int
    events: int
    converged: bool
    iterations: int
    redundant: tuple[Redundant, ...]
    concerns: tuple[str, ...]

    @property
    def std_errors(self) -> FloatArray:
        """Standard errors from the inverse information."""
        return np.sqrt(np.diag(self.covariance))


def fit_firth(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    confidence: float = 0.95,
    names: Sequence[str] = (),
    limits_for: Sequence[str] | None = None,
) -> FirthFit:
    """Fit a logistic model by Firth's penalised maximum likelihood.

    Parameters
    ----------
    x
        Terms without the intercept, shape (n, q).
    y
        Outcome, 0 or 1, shape (n,).
    weights
        Case weights >= 0, shape (n,), taken as known.
    limits_for
        Names of the terms (or "intercept") whose limits and tests are wanted; left out, all.

    Returns
    -------
    FirthFit
        With no, or only, events, or with redundant columns, no number but the reason.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing or infinite, `y` is not 0/1, a weight is negative,
        or `limits_for` names an unknown term.

    Notes
    -----
    The penalty is Jeffreys' prior, log det(information) / 2 [1]_. Limits and tests profile the
    penalised likelihood with the penalty of the whole design [2]_; dropping the column instead
    gives another test. Standard errors come from the plain information (R brglm2; logistf from
    1.25 and firthmodels take the augmented one and print smaller errors). Rows are taken as
    independent: stifles of one animal are not allowed for.

    References
    ----------
    .. [1] Firth D. Biometrika 1993;80:27-38.
    .. [2] Heinze G, Schemper M. Stat Med 2002;21:2409-2419.
    """
    matrix = finite_matrix(x, "x")
    n = len(matrix)
    outcome = zero_one(y, "y", rows=n)
    w = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    labels = column_names(names, matrix.shape[1])
    root_target = normal_quantile(confidence)
    used = w > 0
    matrix, outcome, w = matrix[used], outcome[used], w[used]
    all_names = (INTERCEPT, *labels)
    asked = asked_places(limits_for, all_names)
    redundant = find_redundant(matrix, labels)
    if redundant or int(outcome.sum()) in (0, len(outcome)):
        return _no_fit(all_names, outcome, confidence, redundant=redundant)
    problem = _Problem(matrix, outcome, w)
    z, back = scaled_design(matrix)
    top = problem.top(z)
    if not top.converged:
        return _no_fit(all_names, outcome, confidence, iterations=top.steps)
    at_top = inverse(top.information)
    low, high, tests = _profiles(problem, top, asked, root_target)
    return FirthFit(
        names=all_names,
        coefficients=back @ top.coefficients,
        covariance=back @ at_top @ back.T,
        low=low,
        high=high,
        confidence=confidence,
        tests=tests,
        likelihood_ratio=problem.all_terms(z, top),
        log_likelihood=top.log_likelihood - float(np.log(np.diag(back)).sum()),
        n=len(outcome),
        events=int(outcome.sum()),
        converged=True,
        iterations=top.steps,
        redundant=(),
        concerns=("penalised",),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    x: FloatArray
    y: FloatArray
    weights: FloatArray

    def climb(self, z: FloatArray, start: FloatArray, free: BoolArray) -> PenalisedTop:
        return maximise_penalised(z, self.y, self.weights, start=start, free=free)

    def null_start(self, z: FloatArray) -> FloatArray:
        start = np.zeros(z.shape[1])
        share = float(np.average(self.y, weights=self.weights))
        start[0] = np.log(share / (1 - share))
        return start

    def top(self, z: FloatArray) -> PenalisedTop:
        return self.climb(z, self.null_start(z), np.ones(z.shape[1], dtype=np.bool_))

    def all_terms(self, z: FloatArray, top: PenalisedTop) -> Test:
        only_intercept = np.arange(z.shape[1]) == 0
        null = self.climb(z, self.null_start(z), only_intercept)
        return all_terms_test(top, null, z.shape[1] - 1)


def _profiles(
    problem: _Problem, top: PenalisedTop, asked: tuple[int, ...], root_target: float
) -> tuple[FloatArray, FloatArray, tuple[Test, ...]]:
    p = len(top.coefficients)
    low, high = np.full(p, np.nan), np.full(p, np.nan)
    tests = [NO_TEST] * p
    for place in asked:
        # the intercept belongs to the uncentred design: its profile is taken there
        z, back = scaled_design(problem.x, centre=place != 0)
        lower, upper, tests[place] = profile_of(
            partial(problem.climb, z), top if place else problem.top(z), place, root_target
        )
        low[place], high[place] = back[place, place] * lower, back[place, place] * upper
    return low, high, tuple(tests)


def _no_fit(
    names: tuple[str, ...],
    y: FloatArray,
    confidence: float,
    *,
    redundant: tuple[Redundant, ...] = (),
    iterations: int = 0,
) -> FirthFit:
    p = len(names)
    nothing = np.full(p, np.nan)
    return FirthFit(
        names=names,
        coefficients=nothing,
        covariance=np.full((p, p), np.nan),
        low=nothing,
        high=nothing,
        confidence=confidence,
        tests=(NO_TEST,) * p,
        likelihood_ratio=NO_TEST,
        log_likelihood=float("nan"),
        n=len(y),
        events=int(y.sum()),
        converged=False,
        iterations=iterations,
        redundant=redundant,
        concerns=why_no_fit(redundant, y),
    )
