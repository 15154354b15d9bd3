"""Accelerated failure time models of exact, right-censored and interval-censored days."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, IntArray, cluster_codes, column_names, finite_matrix
from analysis.chi_square import NO_TEST, Test, chi_square_test
from analysis.fit_concerns import event_concerns
from analysis.intervals import checked_interval
from analysis.kernels.generalised_gamma import gamma_standard
from analysis.kernels.location_scale import STANDARDS, Standard
from analysis.kernels.log_time import (
    GENERALISED_GAMMA,
    LogTimes,
    Top,
    intercept_only,
    log_times,
    maximise,
    scores_of,
)
from analysis.rank import Redundant, find_redundant
from analysis.separation import find_separation

Distribution = Literal["weibull", "lognormal", "loglogistic", "generalised_gamma"]
DISTRIBUTIONS: tuple[Distribution, ...] = (
    "weibull", "lognormal", "loglogistic", "generalised_gamma",
)  # fmt: skip
INTERCEPT, LOG_SCALE, SHAPE = "intercept", "log_scale", "shape"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ParametricFit:
    """A fitted model of log time; coefficients are log time ratios, intercept first.

    Log scale follows the terms and, of a generalised gamma, its shape. Of a Weibull model
    -coefficient / scale is the log hazard ratio. Where it is not identified every number is NaN
    and `concerns` says why.
    """

    distribution: Distribution
    names: tuple[str, ...]  # intercept, the terms, log_scale, shape
    coefficients: FloatArray  # (p + 2,), or (p + 3,) with a shape
    covariance_model: FloatArray  # inverse of the observed information
    covariance: FloatArray  # the sandwich by cluster where clusters were given
    log_likelihood: float
    log_likelihood_null: float  # without the terms
    likelihood_ratio: Test
    aic: float
    n: int
    events: int
    clusters: int | None
    converged: bool
    iterations: int
    redundant: tuple[Redundant, ...]
    concerns: tuple[str, ...]
    separated: tuple[str, ...] = ()  # terms whose time ratio would be nil or infinite

    @property
    def scale(self) -> float:
        """Scale of log time."""
        return float(np.exp(self.coefficients[self.names.index(LOG_SCALE)]))

    @property
    def terms(self) -> slice:
        """Where the terms stand among the coefficients."""
        return slice(1, self.names.index(LOG_SCALE))

    @property
    def standard(self) -> Standard:
        """The fitted distribution of log time less its location, over its scale."""
        if self.distribution == GENERALISED_GAMMA:
            return gamma_standard(float(self.coefficients[-1]))
        return STANDARDS[self.distribution]

    @property
    def std_errors(self) -> FloatArray:
        """Standard errors, cluster-robust where clusters were given."""
        return np.sqrt(np.diag(self.covariance))


def fit_parametric(
    x: npt.ArrayLike,
    left: npt.ArrayLike,
    right: npt.ArrayLike,
    *,
    distribution: Distribution,
    cluster: npt.ArrayLike | None = None,
    names: Sequence[str] = (),
) -> ParametricFit:
    """Fit log time = intercept + x beta + scale * error by maximum likelihood.

    Parameters
    ----------
    x
        Terms without a constant, shape (n, p); p may be 0.
    left, right
        The day lies in (left, right]: equal ends where it is known, `right` NaN or infinite where
        it had not come by `left`. Days known exactly must be above 0.
    distribution
        Of the error: smallest extreme value (weibull), normal, logistic, or the generalised gamma,
        which holds Weibull (shape 1) and log-normal (shape 0) [2]_.
    cluster
        Label of each row's cluster; then `covariance` is the sandwich, without a small-sample
        factor.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, an interval is turned round, an exact day is 0, or
        the distribution is unknown.

    Notes
    -----
    R: ``survreg(Surv(left, right, type = "interval2") ~ x, dist = , robust, cluster = )``.

    References
    ----------
    .. [1] Kalbfleisch JD, Prentice RL. The Statistical Analysis of Failure Time Data. Wiley 2002,
       chapter 3.
    .. [2] Prentice RL. Biometrika 1974;61:539-544.
    """
    if distribution not in DISTRIBUTIONS:
        known = ", ".join(DISTRIBUTIONS)
        raise ValueError(f"distribution must be one of {known}, got {distribution}")
    matrix = finite_matrix(x, "x")
    start, end = checked_interval(left, right, rows=len(matrix))
    terms = column_names(names, matrix.shape[1])
    last = (LOG_SCALE, SHAPE) if distribution == GENERALISED_GAMMA else (LOG_SCALE,)
    labels = (INTERCEPT, *terms, *last)
    codes, n_clusters = (None, None) if cluster is None else cluster_codes(cluster, rows=len(start))
    events = int(np.isfinite(end).sum())
    redundant = find_redundant(matrix, terms, intercept=True)
    if redundant or not events:
        return _no_fit(distribution, labels, (len(start), events, n_clusters), redundant)
    rows, centre, spread = log_times(matrix, start, end)
    found = maximise(rows, distribution)
    null = maximise(intercept_only(rows), distribution)
    if not (found.converged and null.converged):
        away = _separated(matrix, start, end, terms)
        nothing = _no_fit(distribution, labels, (len(start), events, n_clusters), ())
        found_out = ("separation", "not_identified") if away else nothing.concerns
        return replace(nothing, separated=away, concerns=found_out)
    back = _unscaled(centre, spread, others=len(last))
    turn = float(rows.low[rows.exact == 1].sum())  # from densities of log days to those of days
    covariance = back @ np.linalg.inv(found.information) @ back.T
    robust = covariance if codes is None else _sandwich(rows, distribution, found, codes, back)
    n_terms = matrix.shape[1]
    return ParametricFit(
        distribution=distribution, names=labels, coefficients=back @ found.theta,
        covariance_model=covariance, covariance=robust, log_likelihood=found.value - turn,
        log_likelihood_null=null.value - turn,
        likelihood_ratio=chi_square_test(2 * (found.value - null.value), n_terms)
        if n_terms else NO_TEST,
        aic=2 * len(labels) - 2 * (found.value - turn), n=len(start), events=events,
        clusters=n_clusters, converged=True, iterations=found.iterations, redundant=(),
        concerns=event_concerns(events, n_terms, n_clusters, ()),
    )  # fmt: skip


def parametric_risks(fit: ParametricFit, x: npt.ArrayLike, days: Sequence[float]) -> FloatArray:
    """Give the mean risk of rows `x` (m, p) by each of some days, shape (len(days),)."""
    matrix = finite_matrix(x, "x")
    location = fit.coefficients[0] + matrix @ fit.coefficients[fit.terms]
    survival = fit.standard.log_survival
    return np.array([
        float(np.mean(-np.expm1(survival((np.log(day) - location) / fit.scale)[0])))
        for day in days
    ])  # fmt: skip


def _separated(
    x: FloatArray, start: FloatArray, end: FloatArray, names: Sequence[str]
) -> tuple[str, ...]:
    """Name the terms along which the likelihood rises for ever.

    A direction in which no day known on both sides moves, no right-censored one comes sooner and
    none known from the right alone later: separation of a binary outcome in which the first count
    as both.
    """
    ended = np.isfinite(end)
    both = ended & (start > 0)
    outcome = np.concatenate([ended, np.zeros(int(both.sum()))])
    found = find_separation(np.concatenate([x, x[both]]), outcome, names)
    return tuple(item.name for item in found)


def _unscaled(centre: FloatArray, spread: FloatArray, *, others: int) -> FloatArray:
    """Map coefficients of scaled terms to those of the terms as given; `others` follow them."""
    back = np.diag(np.concatenate([[1.0], 1 / spread, np.ones(others)]))
    back[0, 1 : 1 + len(spread)] = -centre / spread
    return back


def _sandwich(
    rows: LogTimes, distribution: str, found: Top, codes: IntArray, back: FloatArray
) -> FloatArray:
    totals = np.zeros((int(codes.max()) + 1, len(found.theta)))
    np.add.at(totals, codes, scores_of(rows, distribution, found.theta)[1])
    spread = back @ np.linalg.solve(found.information, totals.T)
    return spread @ spread.T


def _no_fit(
    distribution: Distribution,
    names: tuple[str, ...],
    counts: tuple[int, int, int | None],
    redundant: tuple[Redundant, ...],
) -> ParametricFit:
    n, events, clusters = counts
    nan, blank = float("nan"), np.full((len(names), len(names)), np.nan)
    reason = "no_events" if not events else "collinear" if redundant else "not_converged"
    return ParametricFit(
        distribution=distribution, names=names, coefficients=np.full(len(names), nan),
        covariance_model=blank, covariance=blank, log_likelihood=nan, log_likelihood_null=nan,
        likelihood_ratio=NO_TEST, aic=nan, n=n, events=events, clusters=clusters, converged=False,
        iterations=0, redundant=redundant, concerns=(reason, "not_identified"),
    )  # fmt: skip
