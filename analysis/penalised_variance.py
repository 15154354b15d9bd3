"""Variance of Firth's estimates where rows of a cluster, as stifles of an animal, are alike."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    cluster_codes,
    finite_matrix,
    inverse,
    non_negative,
    zero_one,
)
from analysis.cox_variance import sandwich_covariances
from analysis.firth import FirthFit
from analysis.firth_cox import FirthCoxFit
from analysis.kernels.cox import CoxBatch
from analysis.kernels.logistic import fitted_risks
from analysis.sandwich import Correction, cluster_sandwich


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClusterVariance:
    """A sandwich covariance of the coefficients, shape (p, p), and the number of clusters."""

    covariance: FloatArray
    clusters: int


def robust_firth(
    fit: FirthFit,
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    cluster: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    correction: Correction = "CR1",
) -> ClusterVariance:
    """Give the cluster-robust covariance at Firth's logistic estimate.

    Parameters
    ----------
    fit
        Of the same `x`, `y` and `weights`.
    x, y, weights
        As in ``fit_firth``.
    cluster
        Label of each row's cluster, shape (n,).
    correction
        As in ``fit_logistic``.

    Returns
    -------
    ClusterVariance
        Of the coefficients, the intercept first; NaN where the fit has no number.

    Raises
    ------
    ValueError
        If shapes differ or a value is missing, or a weight negative.

    Notes
    -----
    Scores of the plain likelihood at the penalised estimate, summed by cluster [1]_, between
    inverses of the plain information. The penalty's part of the score is one sum for all rows
    and of order 1, so that it leaves the variance as it is but for terms of order 1/n [2]_.

    References
    ----------
    .. [1] Liang KY, Zeger SL. Biometrika 1986;73:13-22.
    .. [2] Firth D. Biometrika 1993;80:27-38.
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    codes, _ = cluster_codes(cluster, rows=len(matrix))
    w = np.ones(len(matrix)) if weights is None else non_negative(weights, "weights",
                                                                  rows=len(matrix))  # fmt: skip
    used = w > 0
    terms = np.column_stack([np.ones(int(used.sum())), matrix[used]])
    residual = w[used] * (outcome[used] - fitted_risks(terms @ fit.coefficients))
    covariance, clusters = cluster_sandwich(
        terms, residual, fit.covariance, codes=codes[used], correction=correction
    )
    return ClusterVariance(covariance=covariance, clusters=clusters)


def robust_firth_cox(fit: FirthCoxFit, cluster: npt.ArrayLike) -> ClusterVariance:
    """Give the covariance of Lin and Wei at Firth's estimate of a Cox model.

    Parameters
    ----------
    fit
        A penalised fit.
    cluster
        Label of the cluster of each row of the fit that has a weight above zero, shape (n,).

    Returns
    -------
    ClusterVariance
        Without a small-sample factor, as in ``fit_cox``; NaN where the fit has no number.

    Raises
    ------
    ValueError
        If the shape differs or a label is missing.

    Notes
    -----
    Score residuals of the plain partial likelihood at the penalised estimate, summed by cluster,
    between inverses of the plain information [1]_. R: ``coxph(..., init = b, cluster = id,
    control = coxph.control(iter.max = 0))`` at the penalised b.

    References
    ----------
    .. [1] Lin DY, Wei LJ. J Am Stat Assoc 1989;84:1074-1078.
    """
    codes, clusters = cluster_codes(cluster, rows=len(fit.rows.time))
    terms = len(fit.names)
    if not fit.converged:
        return ClusterVariance(covariance=np.full((terms, terms), np.nan), clusters=clusters)
    at_top = CoxBatch(
        beta=fit.coefficients[:, None], log_likelihood=np.array([fit.log_likelihood]),
        information=inverse(fit.covariance)[:, :, None], converged=np.array([True]),
        last_step=np.zeros((terms, 1)), iterations=fit.iterations,
    )  # fmt: skip
    _, covariance, _ = sandwich_covariances(
        replace(fit.rows, cluster=codes), fit.data, at_top, np.zeros(terms, bool), fit.ties
    )
    return ClusterVariance(covariance=covariance, clusters=clusters)
