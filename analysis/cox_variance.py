"""Variance of a Cox model's coefficients and score where rows of a cluster are alike."""

import numpy as np

from analysis.arrays import BoolArray, FloatArray
from analysis.chi_square import Test, wald_test
from analysis.cox_rows import CoxRows
from analysis.kernels.cox import CoxBatch, CoxData, Ties
from analysis.kernels.cox_influence import score_residuals
from analysis.kernels.cox_likelihood import risk_sums


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
    by_cluster, clusters = _cluster_scores(rows, data, beta, ties=ties, weights=weights)
    influence = (by_cluster * data.scale)[:, kept] @ model[block]
    robust = np.full_like(model, np.nan)
    robust[block] = influence.T @ influence
    return model, robust, clusters


def _cluster_scores(
    rows: CoxRows, data: CoxData, beta: FloatArray, *, ties: Ties, weights: FloatArray | None
) -> tuple[FloatArray, int]:
    """Score contributions summed by cluster, in the units of ``data.x``, and the cluster count."""
    assert rows.cluster is not None
    residuals = score_residuals(data, risk_sums(data, beta, weights, ties))
    if weights is not None:
        residuals *= weights
    codes = rows.cluster[data.rows]
    size = int(rows.cluster.max()) + 1
    sums = np.zeros((size, residuals.shape[1]))
    for place, column in enumerate(residuals.T):
        sums[:, place] = np.bincount(codes, column, size)
    return sums, int(np.count_nonzero(np.bincount(rows.cluster)))


def robust_score_test(rows: CoxRows, data: CoxData, ties: Ties) -> Test:
    """Test all terms at no effect, the variance of the score taken over the clusters."""
    weights = None if rows.weights is None else rows.weights[data.rows][:, None]
    nil = np.zeros((data.x.shape[1], 1))
    sums, _ = _cluster_scores(rows, data, nil, ties=ties, weights=weights)
    return wald_test(sums.sum(axis=0), sums.T @ sums)
