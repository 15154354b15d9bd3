"""Cox regression: partial likelihood, cluster-robust variance, global tests, separation."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analysis.arrays import BoolArray, FloatArray, column_names
from analysis.chi_square import NO_TEST, Test, chi_square_test, wald_test
from analysis.concordance import harrell_concordance
from analysis.cox_baseline import baseline_cumulative_hazard, expected_by_row
from analysis.cox_diagnostics import PHTest, proportional_hazards_test
from analysis.cox_result import CoxFit
from analysis.cox_rows import CoxRows, checked_rows
from analysis.cox_variance import robust_score_test, sandwich_covariances
from analysis.fit_concerns import event_concerns
from analysis.kernels.cox import CoxBatch, CoxData, Ties, fit_cox_batch, prepare_cox
from analysis.kernels.cox_likelihood import (
    RiskSums,
    expected_weights,
    gradient,
    information,
    risk_sums,
)
from analysis.rank import Redundant, find_redundant

__all__ = [
    "CoxFit",
    "PHTest",
    "baseline_cumulative_hazard",
    "cluster_score_test",
    "expected_by_row",
    "fit_cox",
    "proportional_hazards_test",
]

STILL_MOVING = 1e-4  # a last step, in standard deviations of a term, of an estimate that runs away


def fit_cox(  # noqa: PLR0913 - the parts of the model, each by name
    x: npt.ArrayLike,
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    entry: npt.ArrayLike | None = None,
    strata: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
    ties: Ties = "efron",
    names: Sequence[str] = (),
    concordance: bool = True,
) -> CoxFit:
    """Fit a Cox model by maximum partial likelihood.

    Parameters
    ----------
    x
        Terms without a constant, shape (n, p); uncentred columns such as a year are safe.
    time
        Day of leaving, shape (n,), >= 0 and after `entry`.
    event
        1 where the row leaves by the event, 0 where it is censored, shape (n,).
    entry
        Day after which a row is at risk (left truncation): at risk at day t if entry < t <= time.
    strata
        Label of each row's stratum: its own baseline hazard.
    weights
        Case weights >= 0.
    cluster
        Label of each row's cluster; then `covariance` is the sandwich of Lin and Wei [2]_, the
        influences summed by cluster, without a small-sample factor.
    ties
        "efron" [3]_ or "breslow".
    names
        One name a column of `x`.
    concordance
        Whether Harrell's concordance is wanted.

    Returns
    -------
    CoxFit
        Without an event, or with a column that is constant or determined by others among the
        rows at risk, the fit holds no number and names the reason. A term that separates the
        events in time (its likelihood rises for ever) is named in `separated` and holds NaN;
        the other terms then hold their limits.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing or infinite, an event is not 0/1, a time is negative
        or not after its entry, a weight is negative or no weight is above zero.

    Notes
    -----
    Terms are centred and scaled inside. Likelihood-ratio and score tests take rows of a cluster
    as independent; Wald and robust score tests do not. R: ``coxph(..., cluster = id)``.

    References
    ----------
    .. [1] Cox DR. J R Stat Soc B 1972;34:187-220.
    .. [2] Lin DY, Wei LJ. J Am Stat Assoc 1989;84:1074-1078.
    .. [3] Efron B. J Am Stat Assoc 1977;72:557-565.
    """
    rows = checked_rows(
        x, time, event, entry=entry, strata=strata, weights=weights, cluster=cluster
    )
    labels = column_names(names, rows.x.shape[1])
    data = prepare_cox(rows.time, rows.event == 1, rows.x, entry=rows.entry, strata=rows.strata)
    if not len(data.rows):
        return _no_fit(rows, data, labels, ties=ties, concerns=("no_events", "not_identified"))
    redundant = find_redundant(_square_root_of_gram(data.x), labels, intercept=False)
    if redundant:
        copies = any(item.because for item in redundant)
        concerns = ("collinear", "not_identified") if copies else ("not_identified",)
        return _no_fit(rows, data, labels, ties=ties, concerns=concerns, redundant=redundant)
    return _fit(rows, data, labels, ties=ties, concordance=concordance)


def cluster_score_test(
    x: npt.ArrayLike,
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    cluster: npt.ArrayLike,
    strata: npt.ArrayLike | None = None,
    entry: npt.ArrayLike | None = None,
) -> Test:
    """Compare groups, given as columns of `x`, where rows of a cluster are not independent.

    The score test of a Cox model at no difference, with the variance of the score taken from the
    clusters' own contributions: a log-rank test for clusters. NaN where there are fewer clusters
    than columns, a column is constant or no event occurs. R: ``coxph(..., cluster = id)$rscore``.

    References
    ----------
    .. [1] Lin DY, Wei LJ. J Am Stat Assoc 1989;84:1074-1078.
    """
    rows = checked_rows(x, time, event, entry=entry, strata=strata, weights=None, cluster=cluster)
    data = prepare_cox(rows.time, rows.event == 1, rows.x, entry=rows.entry, strata=rows.strata)
    if not len(data.rows):
        return NO_TEST
    nil = np.zeros((data.x.shape[1], 1))
    return robust_score_test(rows, data, risk_sums(data, nil, None, "efron"))


def _fit(
    rows: CoxRows, data: CoxData, names: tuple[str, ...], *, ties: Ties, concordance: bool
) -> CoxFit:
    weights = None if rows.weights is None else rows.weights[:, None]
    at_risk = None if weights is None else weights[data.rows]
    nil = risk_sums(data, np.zeros((data.x.shape[1], 1)), at_risk, ties)
    start, score = _first_step(data, nil, at_risk)
    null = float(nil.log_likelihood[0])
    with np.errstate(over="ignore", invalid="ignore"):  # only where terms run away
        batch = fit_cox_batch(data, weights, ties=ties, start=start)
        if not float(batch.log_likelihood[0]) >= null:
            batch = fit_cox_batch(data, weights, ties=ties)
        moving = _running_away(batch)
        if not batch.converged[0] and not moving.any():
            return _no_fit(rows, data, names, ties=ties, concerns=("not_converged",))
        model, robust, clusters = sandwich_covariances(rows, data, batch, moving, ties)
    beta = np.where(moving, np.nan, batch.beta[:, 0])
    log_likelihood = float(batch.log_likelihood[0])
    separated = tuple(name for name, away in zip(names, moving, strict=True) if away)
    events, terms = int(rows.event.sum()), len(names)
    return CoxFit(
        names=names, coefficients=beta, covariance_model=model, covariance=robust,
        log_likelihood=log_likelihood, log_likelihood_null=null,
        likelihood_ratio=chi_square_test(2 * (log_likelihood - null), terms),
        score=score,
        wald=wald_test(beta, robust) if not separated else NO_TEST,
        robust_score=robust_score_test(rows, data, nil) if clusters else NO_TEST,
        concordance=harrell_concordance(rows, rows.x @ beta) if concordance and not separated
        else float("nan"),
        n=len(rows.time), events=events, clusters=clusters, ties=ties,
        converged=True, iterations=batch.iterations, separated=separated, redundant=(),
        concerns=event_concerns(events, terms, clusters, separated), rows=rows, data=data,
    )  # fmt: skip


def _first_step(
    data: CoxData, nil: RiskSums, weights: FloatArray | None
) -> tuple[FloatArray, Test]:
    """Newton's first step from no effects, and the score test."""
    rows = expected_weights(data, nil)
    first = gradient(data, nil, weights, row_weights=rows)[:, 0]
    second = information(data, nil, row_weights=rows)[0]
    step = np.linalg.lstsq(second, first, rcond=None)[0]
    return step / data.scale, chi_square_test(float(first @ step), data.x.shape[1])


def _running_away(batch: CoxBatch) -> BoolArray:
    """Say which terms still move although the fit took every step allowed."""
    if batch.converged[0]:
        return np.zeros(len(batch.beta), bool)
    return ~(np.abs(batch.last_step[:, 0]) <= STILL_MOVING)


def _square_root_of_gram(x: FloatArray) -> FloatArray:
    """Give a small matrix with the same inner products of columns as `x`."""
    values, vectors = np.linalg.eigh(x.T @ x)
    return np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T


def _no_fit(
    rows: CoxRows,
    data: CoxData,
    names: tuple[str, ...],
    *,
    ties: Ties,
    concerns: tuple[str, ...],
    redundant: tuple[Redundant, ...] = (),
) -> CoxFit:
    terms, nan = len(names), float("nan")
    clusters = None if rows.cluster is None else len(np.unique(rows.cluster))
    return CoxFit(
        names=names, coefficients=np.full(terms, nan),
        covariance_model=np.full((terms, terms), nan), covariance=np.full((terms, terms), nan),
        log_likelihood=nan, log_likelihood_null=nan,
        likelihood_ratio=NO_TEST, score=NO_TEST, wald=NO_TEST, robust_score=NO_TEST,
        concordance=nan, n=len(rows.time), events=int(rows.event.sum()), clusters=clusters,
        ties=ties, converged=False, iterations=0, separated=(), redundant=redundant,
        concerns=concerns, rows=rows, data=data,
    )  # fmt: skip
