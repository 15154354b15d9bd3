"""Firth's penalised Cox regression, for sparse data or terms that separate in time."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analysis.arrays import BoolArray, FloatArray, column_names
from analysis.chi_square import NO_TEST, Test, chi_square_test, normal_quantile
from analysis.cox_rows import CoxRows, checked_rows
from analysis.kernels.cox import CoxData, Ties, prepare_cox
from analysis.kernels.firth import PenalisedTop
from analysis.kernels.firth_cox import maximise_penalised_cox
from analysis.profile import profile_limit
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
    unknown = [name for name in limits_for or () if name not in labels]
    if unknown:
        raise ValueError(f"limits_for must name terms of the model, got {unknown[0]!r}")
    data = prepare_cox(rows.time, rows.event == 1, rows.x, entry=rows.entry, strata=rows.strata)
    redundant = find_redundant(rows.x[data.rows], labels) if len(data.rows) else ()
    problem = _Problem(
        data, None if rows.weights is None else rows.weights[data.rows][:, None], ties
    )
    nothing = not len(data.rows) or bool(redundant)
    top = None if nothing else problem.climb(np.zeros(len(labels)), np.ones(len(labels), bool))
    if top is None or not top.converged:
        return _no_fit(rows, data, labels, ties, confidence, redundant)
    asked = [labels.index(name) for name in (labels if limits_for is None else limits_for)]
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

    def drop(self, top: PenalisedTop, place: int, value: float) -> tuple[float, float]:
        """Twice the drop of the profile where one coefficient is `value`, and its derivative."""
        covariance = np.linalg.inv(top.information)
        slopes = covariance[:, place] / covariance[place, place]
        start = top.coefficients + slopes * (value - top.coefficients[place])
        start[place] = value
        held = self.climb(start, np.arange(len(start)) != place)
        if not held.converged:
            return float("nan"), float("nan")
        fallen = 2 * (top.log_likelihood - held.log_likelihood)
        return fallen, -2 * float(held.gradient[place])


def _profiles(
    problem: _Problem, top: PenalisedTop, asked: Sequence[int], root_target: float
) -> tuple[FloatArray, FloatArray, tuple[Test, ...]]:
    terms = len(top.coefficients)
    low, high = np.full(terms, np.nan), np.full(terms, np.nan)
    tests = [NO_TEST] * terms
    errors = np.sqrt(np.diag(np.linalg.inv(top.information)))
    for place in asked:
        middle, reach = float(top.coefficients[place]), root_target * float(errors[place])
        for limits, guess in ((low, middle - reach), (high, middle + reach)):
            limit = profile_limit(
                lambda value, at=place: problem.drop(top, at, value),
                middle,
                first_guess=guess,
                root_target=root_target,
            )
            limits[place] = limit / problem.data.scale[place]
        tests[place] = chi_square_test(problem.drop(top, place, 0.0)[0], 1)
    return low, high, tuple(tests)


def _all_terms(problem: _Problem, top: PenalisedTop) -> Test:
    """Penalised likelihood-ratio test of all terms, the penalty from the whole design."""
    nil = np.zeros_like(top.coefficients)
    null = problem.climb(nil, np.zeros(len(nil), bool))
    return chi_square_test(2 * (top.log_likelihood - null.log_likelihood), len(nil))


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
