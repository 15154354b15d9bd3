"""Fine and Gray's regression of the subdistribution hazard, with errors by cluster."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, cluster_codes, column_names, finite_matrix, non_negative
from analysis.chi_square import NO_TEST, Test, chi_square_test, wald_test
from analysis.fit_concerns import event_concerns
from analysis.incidence import checked_states
from analysis.kernels.fine_gray import FineGrayData, FineGraySums, prepare, sums
from analysis.rank import NOTHING_NEW, Redundant, find_redundant

STEPS = 30
HALVINGS = 12
CLOSE = 1e-12  # relative change of the likelihood at which the last step has been taken
STILL_MOVING = 1e-4  # in standard deviations of a term


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FineGrayFit:
    """A fitted model; coefficients are log subdistribution hazard ratios.

    Where it is not identified every coefficient and variance is NaN and `concerns` says why.
    """

    names: tuple[str, ...]
    coefficients: FloatArray  # (p,)
    covariance_model: FloatArray  # (p, p), inverse information
    covariance: FloatArray  # (p, p), sandwich by cluster, censoring weights taken as estimated
    covariance_weights_known: FloatArray  # (p, p), the same, censoring weights taken as known
    log_likelihood: float
    log_likelihood_null: float
    likelihood_ratio: Test
    wald: Test  # from `covariance`
    n: int
    events: int
    competing: int
    clusters: int | None
    converged: bool
    iterations: int
    separated: tuple[str, ...]  # terms whose estimate runs to infinity
    redundant: tuple[Redundant, ...]
    concerns: tuple[str, ...]
    baseline: tuple[FloatArray, FloatArray] | None = field(repr=False)  # day, cumulative hazard

    @property
    def std_errors(self) -> FloatArray:
        """Standard errors of the coefficients, from the sandwich."""
        return np.sqrt(np.diag(self.covariance))


def fit_fine_gray(
    x: npt.ArrayLike,
    time: npt.ArrayLike,
    state: npt.ArrayLike,
    *,
    cause: int,
    cluster: npt.ArrayLike | None = None,
    ties: Literal["efron", "breslow"] = "efron",
    censoring: Literal["after_events", "with_events"] = "after_events",
    names: Sequence[str] = (),
) -> FineGrayFit:
    """Fit the proportional hazards model of the subdistribution of one cause.

    Parameters
    ----------
    x
        Terms without a constant, shape (n, p).
    time
        Day of leaving, >= 0, shape (n,).
    state
        How the row leaves: 0 censored, 1, 2, ... the causes, shape (n,).
    cause
        The cause of interest; the others compete.
    cluster
        Label of each row's cluster; without it each row is its own.
    ties
        How tied events of the cause are taken.
    censoring
        Whether a row with an event on a day has left before anybody is censored on that day
        ("after_events", as the cumulative incidence has it) or counts among those who may be.
    names
        One name a column of `x`.

    Returns
    -------
    FineGrayFit
        Without an event, or with a redundant column, it holds no number and names the reason.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, a time is negative, or a state or cause is unknown.

    Notes
    -----
    Censoring weights are pooled over all rows: right if censoring does not depend on `x`. The
    sandwich adds the influence of the estimated weights [1]_, summed by cluster. With whole days
    the model describes the cumulative incidence, not a rate among animals still at risk: it says
    whether a group ends with more events, not why [2]_. R: ``cmprsk::crr`` (Breslow,
    "with_events"), ``survival::finegray`` and ``coxph(..., cluster = id)`` ("after_events").

    References
    ----------
    .. [1] Fine JP, Gray RJ. J Am Stat Assoc 1999;94:496-509.
    .. [2] Austin PC, Lee DS, Fine JP. Circulation 2016;133:601-609.
    """
    matrix = finite_matrix(x, "x")
    n = len(matrix)
    days, states = non_negative(time, "time", rows=n), checked_states(state, rows=n)
    if cause < 1:
        raise ValueError(f"cause must be at least 1, got {cause}")
    labels = column_names(names, matrix.shape[1])
    codes, n_clusters = (None, None) if cluster is None else cluster_codes(cluster, rows=n)
    redundant = find_redundant(matrix, labels, intercept=True)
    events = int((states == cause).sum())
    counts = (n, events, int((states > 0).sum()) - events, n_clusters)
    if not events or redundant:
        why = ("no_events", "not_identified") if not events else ("not_identified",)
        return _no_fit(labels, counts, concerns=why, redundant=redundant)
    centre, scale = matrix.mean(axis=0), matrix.std(axis=0)
    data = prepare(
        days, states, (matrix - centre) / scale, cause=cause, efron=ties == "efron",
        together=censoring == "with_events",
    )  # fmt: skip
    return _fit(data, labels, counts, scales=(centre, scale), codes=codes)


def subdistribution_risks(fit: FineGrayFit, x: npt.ArrayLike, days: Sequence[float]) -> FloatArray:
    """Give the mean risk of rows `x` (m, p) by each of some days, shape (len(days),).

    The baseline is Breslow's; NaN without a fit.
    """
    if fit.baseline is None:
        return np.full(len(days), np.nan)
    day, hazard = fit.baseline
    by = np.searchsorted(day, np.asarray(days, dtype=np.float64), side="right")
    total = np.concatenate([[0.0], hazard])[by]
    linear = finite_matrix(x, "x") @ fit.coefficients
    return np.array([float(np.mean(-np.expm1(-each * np.exp(linear)))) for each in total])


def _fit(
    data: FineGrayData,
    names: tuple[str, ...],
    counts: tuple[int, int, int, int | None],
    *,
    scales: tuple[FloatArray, FloatArray],
    codes: npt.NDArray[np.int64] | None,
) -> FineGrayFit:
    n, events, competing, clusters = counts
    centre, scale = scales
    at_null = sums(data, np.zeros(len(names)))
    if np.linalg.eigvalsh(at_null.information)[0] <= NOTHING_NEW * events:
        return _no_fit(names, counts, concerns=("not_identified",))
    beta, found, iterations, last = _maximise(data, at_null)
    moving = np.abs(last) > STILL_MOVING
    if not np.isfinite(found.log_likelihood):
        return _no_fit(names, counts, concerns=("not_converged",))
    inverse = np.linalg.pinv(found.information) / np.outer(scale, scale)
    known, whole = (
        inverse @ _meat(part * scale, data, codes) @ inverse
        for part in (found.score, found.score + found.through_censoring)
    )
    gain = found.log_likelihood - at_null.log_likelihood
    estimate = np.where(moving, np.nan, beta / scale)
    separated = tuple(name for name, away in zip(names, moving, strict=True) if away)
    return FineGrayFit(
        names=names, coefficients=estimate, covariance_model=inverse, covariance=whole,
        covariance_weights_known=known, log_likelihood=found.log_likelihood,
        log_likelihood_null=at_null.log_likelihood,
        likelihood_ratio=chi_square_test(2 * gain, len(names)),
        wald=NO_TEST if separated else wald_test(estimate, whole),
        n=n, events=events, competing=competing, clusters=clusters, converged=not separated,
        iterations=iterations, separated=separated, redundant=(),
        concerns=event_concerns(events, len(names), clusters, separated),
        baseline=(data.step_day, np.cumsum(found.hazard) * np.exp(-centre @ (beta / scale))),
    )  # fmt: skip


def _maximise(
    data: FineGrayData, found: FineGraySums
) -> tuple[FloatArray, FineGraySums, int, FloatArray]:
    """Newton's method with halved steps, from the sums at no effect; gives the last step too."""
    beta = np.zeros(data.x.shape[1])
    for iteration in range(1, STEPS + 1):
        step = np.linalg.lstsq(found.information, found.gradient, rcond=None)[0]
        tolerance = CLOSE * abs(found.log_likelihood)
        with np.errstate(over="ignore", invalid="ignore"):
            ahead = sums(data, beta + step)
            for _ in range(HALVINGS):
                if ahead.log_likelihood >= found.log_likelihood - tolerance:
                    break
                step = step / 2
                ahead = sums(data, beta + step)
        gain = ahead.log_likelihood - found.log_likelihood
        beta, found = beta + step, ahead
        if abs(gain) <= tolerance or iteration == STEPS:
            return beta, found, iteration, np.asarray(step, dtype=np.float64)
    return beta, found, 0, beta


def _meat(
    influence: FloatArray, data: FineGrayData, codes: npt.NDArray[np.int64] | None
) -> FloatArray:
    if codes is not None:
        own = codes[data.order]
        totals = np.zeros((int(codes.max()) + 1, influence.shape[1]))
        np.add.at(totals, own, influence)
        influence = totals
    return influence.T @ influence


def _no_fit(
    names: tuple[str, ...],
    counts: tuple[int, int, int, int | None],
    *,
    concerns: tuple[str, ...],
    redundant: tuple[Redundant, ...] = (),
) -> FineGrayFit:
    n, events, competing, clusters = counts
    nan, blank = float("nan"), np.full((len(names), len(names)), np.nan)
    return FineGrayFit(
        names=names, coefficients=np.full(len(names), nan), covariance_model=blank,
        covariance=blank, covariance_weights_known=blank, log_likelihood=nan,
        log_likelihood_null=nan, likelihood_ratio=NO_TEST, wald=NO_TEST, n=n, events=events,
        competing=competing, clusters=clusters, converged=False, iterations=0, separated=(),
        redundant=redundant, concerns=concerns, baseline=None,
    )  # fmt: skip
