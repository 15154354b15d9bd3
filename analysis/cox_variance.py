"""Variance of a Cox model's coefficients and score where rows of a cluster are alike."""

import numpy as np
from scipy.sparse import csc_array

from analysis.arrays import BoolArray, FloatArray
from analysis.chi_square import Test, wald_test
from analysis.cox_rows import CoxRows
from analysis.kernels.cox import CoxBatch, CoxData, Ties
from analysis.kernels.cox_influence import score_residuals
from analysis.kernels.cox_likelihood import RiskSums, risk_sums


def sandwich_covariances(
    rows: CoxRows, data: CoxData, batch: CoxBatch, moving: BoolArray, ties: Ties
) -> tuple[FloatArray, FloatArray, int | None]:
    """Give the inverse information, the sandwich and the cluster count; NaN where terms run away.

    `moving`, shape (p,), says which terms do. The sandwich sums the influences of Lin and Wei by
    cluster.
    """
    kept = np.flatnonzero(~moving)
    block = np.ix_(kept, kept)
    model = np.full((len(moving), len(moving)), np.nan)
    model[block] = np.linalg.inv(batch.information[:, :, 0][block])
    if rows.cluster is None:
        return model, model, None
    weights = None if rows.weights is None else rows.weights[data.rows][:, None]
    beta = batch.beta[:, :1] * data.scale[:, None]
    by_cluster, clusters = _cluster_scores(rows, data, risk_sums(data, beta, weights, ties))
    influence = (by_cluster * data.scale)[:, kept] @ model[block]
    robust = np.full_like(model, np.nan)
    robust[block] = influence.T @ influence
    return model, robust, clusters


def robust_score_test(rows: CoxRows, data: CoxData, sums: RiskSums) -> Test:
    """Test all terms at no effect, where `sums` are taken, the variance by cluster."""
    by_cluster, _ = _cluster_scores(rows, data, sums)
    return wald_test(by_cluster.sum(axis=0), by_cluster.T @ by_cluster)


def _cluster_scores(rows: CoxRows, data: CoxData, sums: RiskSums) -> tuple[FloatArray, int]:
    """Score contributions summed by cluster, in the units of ``data.x``, and the cluster count."""
    assert rows.cluster is not None
    residuals = score_residuals(data, sums)
    if rows.weights is not None:
        residuals *= rows.weights[data.rows][:, None]
    codes, one_each = rows.cluster[data.rows], np.arange(len(residuals) + 1)
    shape = (int(rows.cluster.max()) + 1, len(residuals))
    indicator = csc_array((np.ones(len(codes)), codes, one_each), shape=shape)
    return np.asarray(indicator @ residuals), int(np.count_nonzero(np.bincount(rows.cluster)))
