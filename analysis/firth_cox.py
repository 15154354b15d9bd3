"""Firth's penalised Cox regression, for sparse data or terms that separate in time."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analysis.arrays import BoolArray, FloatArray, column_names
from analysis.chi_square import NO_TEST, Test, normal_quantile
from analysis.cox_rows import CoxRows, checked_rows
from analysis.kernels.cox import CoxData, Ties, prepare_cox
from analysis.kernels.firth_cox import maximise_penalised_cox
from analysis.kernels.penalised import PenalisedTop
from analysis.penalised import all_terms_test, asked_places, profile_of
from analysis.rank import Redundant, find_redundant


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FirthCoxFit:
    """A penalised fit; coefficients are log hazard ratios.

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
    log_likelihood: float  # penalised
    n: int
    events: int
    ties: Ties
    converged: bool
    iterations: int
    redundant: tuple[Redundant, ...]
    concerns: tuple[str, ...]
    rows: CoxRows = field(repr=False)
    data: CoxData = field(repr=False)

    @property
    def std_errors(self) -> FloatArray:
        """Standard errors from the inverse information."""
        return np.sqrt(np.diag(self.covariance))


def fit_firth_cox(  # noqa: PLR0913 - the parts of the model, each by name
    x: npt.ArrayLike,
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    entry: npt.ArrayLike | None = None,
    strata: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
    ties: Ties = "efron",
    names: Sequence[str] = (),
    confidence: float = 0.95,
    limits_for: Sequence[str] | None = None,
) -> FirthCoxFit:
    """Fit a Cox model by Firth's penalised partial likelihood.

    Parameters
    ----------
    x, time, event, entry, strata, weights, ties, names
        As in ``fit_cox``.
    limits_for
        Names of the terms whose limits and tests are wanted; left out, all.

    Returns
    -------
    FirthCoxFit
        Without an event, or with redundant columns, no number but the reason.

    Raises
    ------
    ValueError
        As ``fit_cox``, or if `limits_for` names an unknown term.

    Notes
    -----
    The penalty is log det(information) / 2 [1]_ [2]_. Limits and tests profile the penalised
    likelihood with the penalty of the whole design. Rows are taken as independent: stifles of one
    animal are not allowed for.

    References
    ----------
    .. [1] Firth D. Biometrika 1993;80:27-38.
    .. [2] Heinze G, Schemper M. Biometrics 2001;57:114-119.
    """
    rows = checked_rows(x, time, event, entry=entry, strata=strata, weights=weights, cluster=None)
    labels = column_names(names, rows.x.shape[1])
    asked = asked_places(limits_for, labels)
    data = prepare_cox(rows.time, rows.event == 1, rows.x, entry=rows.entry, strata=rows.strata)
    redundant = find_redundant(rows.x[data.rows], labels) if len(data.rows) else ()
    problem = _Problem(
        data, None if rows.weights is None else rows.weights[data.rows][:, None], ties
    )
    nothing = not len(data.rows) or bool(redundant)
    top = None if nothing else problem.climb(np.zeros(len(labels)), np.ones(len(labels), bool))
    if top is None or not top.converged:
        return _no_fit(rows, data, labels, ties, confidence, redundant)
    low, high, tests = _profiles(problem, top, asked, normal_quantile(confidence))
    inverse = np.linalg.inv(top.information)
    return FirthCoxFit(
        names=labels, coefficients=top.coefficients / data.scale,
        covariance=inverse / np.outer(data.scale, data.scale),
        low=low, high=high, confidence=confidence, tests=tests,
        likelihood_ratio=_all_terms(problem, top),
        log_likelihood=top.log_likelihood + float(np.log(data.scale).sum()),
        n=len(rows.time), events=int(rows.event.sum()), ties=ties, converged=True,
        iterations=top.steps, redundant=(), concerns=("penalised",), rows=rows, data=data,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    data: CoxData
    weights: FloatArray | None
    ties: Ties

    def climb(self, start: FloatArray, free: BoolArray) -> PenalisedTop:
        return maximise_penalised_cox(
            self.data, self.weights, ties=self.ties, start=start, free=free
        )


def _profiles(
    problem: _Problem, top: PenalisedTop, asked: Sequence[int], root_target: float
) -> tuple[FloatArray, FloatArray, tuple[Test, ...]]:
    terms = len(top.coefficients)
    low, high = np.full(terms, np.nan), np.full(terms, np.nan)
    tests = [NO_TEST] * terms
    for place in asked:
        lower, upper, tests[place] = profile_of(problem.climb, top, place, root_target)
        low[place] = lower / problem.data.scale[place]
        high[place] = upper / problem.data.scale[place]
    return low, high, tuple(tests)


def _all_terms(problem: _Problem, top: PenalisedTop) -> Test:
    nil = np.zeros_like(top.coefficients)
    return all_terms_test(top, problem.climb(nil, np.zeros(len(nil), bool)), len(nil))


def _no_fit(
    rows: CoxRows,
    data: CoxData,
    names: tuple[str, ...],
    ties: Ties,
    confidence: float,
    redundant: tuple[Redundant, ...],
) -> FirthCoxFit:
    terms, nothing = len(names), np.full(len(names), np.nan)
    if not len(data.rows):
        concerns = ("no_events", "not_identified")
    elif any(item.because for item in redundant):
        concerns = ("collinear", "not_identified")
    else:
        concerns = ("not_identified",) if redundant else ("not_converged",)
    return FirthCoxFit(
        names=names, coefficients=nothing, covariance=np.full((terms, terms), np.nan),
        low=nothing, high=nothing, confidence=confidence, tests=(NO_TEST,) * terms,
        likelihood_ratio=NO_TEST, log_likelihood=float("nan"), n=len(rows.time),
        events=int(rows.event.sum()), ties=ties, converged=False, iterations=0,
        redundant=redundant, concerns=concerns, rows=rows, data=data,
    )  # fmt: skip
