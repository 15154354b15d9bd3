"""The cluster-robust (sandwich) covariance of an estimator that solves sum of scores = 0."""

from typing import Literal

import numpy as np

from analysis.arrays import FloatArray, IntArray

Correction = Literal["CR0", "CR1"]


def cluster_sandwich(
    x: FloatArray,
    residual: FloatArray,
    bread: FloatArray,
    *,
    codes: IntArray,
    correction: Correction,
) -> tuple[FloatArray, int]:
    """Give bread (sum over clusters of u u') bread, with u the sum of residual times x.

    Parameters
    ----------
    x
        Design, shape (n, p).
    residual
        Weighted residual, shape (n,).
    bread
        Inverse information, shape (p, p).
    codes
        Number of each row's cluster, shape (n,).
    correction
        "CR0": none. "CR1": times G / (G - 1) * (n - 1) / (n - p).

    Returns
    -------
    covariance, clusters
        Shape (p, p), and the number of clusters G.
    """
    present, at = np.unique(codes, return_inverse=True)
    clusters, (n, p) = len(present), x.shape
    sums = np.column_stack([np.bincount(at, residual * column, clusters) for column in x.T])
    covariance = bread @ (sums.T @ sums) @ bread
    if correction == "CR1" and clusters > 1 and n > p:
        covariance *= clusters / (clusters - 1) * (n - 1) / (n - p)
    return covariance, clusters
