"""Cluster-robust variance for few clusters: residuals freed of their bias, t in place of z."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from analysis.arrays import FloatArray, IntArray, cluster_codes, finite_matrix, inverse, zero_one
from analysis.kernels.logistic import fitted_risks
from analysis.logistic import LogisticFit
from analysis.scaling import scaled_design

LEVERAGE_OF_ONE = 1e-10  # a direction of a cluster that the fit follows wholly has no residual
TELLS_NOTHING = 1e-6  # share of the model's variance below which the clusters tell nothing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BiasReduced:
    """Covariance of coefficients and the degrees of freedom of each, in the order of the fit.

    Where the clusters tell nothing of a coefficient (there is one only) both are NaN.
    """

    covariance: FloatArray  # (p, p)
    df: FloatArray  # (p,)
    clusters: int

    def half_widths(self, confidence: float) -> FloatArray:
        """Give the quantile of t times the standard error of each coefficient."""
        quantile = stdtrit(self.df, 0.5 + confidence / 2)
        return np.asarray(quantile * np.sqrt(np.diag(self.covariance)), dtype=np.float64)


def bias_reduced(
    fit: LogisticFit, x: npt.ArrayLike, y: npt.ArrayLike, *, cluster: npt.ArrayLike
) -> BiasReduced:
    """Give the bias-reduced (CR2) covariance of a logistic fit, with Satterthwaite's df.

    Parameters
    ----------
    fit
        A fit with intercept and without weights of these rows that converged.
    x, y, cluster
        As for ``fit_logistic``; shapes (n, q), (n,), (n,).

    Notes
    -----
    With X and residuals multiplied and divided by the root of the variance mu (1 - mu), a
    cluster's residuals e are replaced by (I - H)^(-1/2) e, H its block of the hat matrix; under
    independent rows the variance has then no bias in the linear model that the last step of the
    fit is [1]_. The degrees of freedom are those of the chi-square with the variance's own mean
    and spread under independence. Only sums of each cluster are kept, so that a clinic of
    thousands costs no more than its rows.

    References
    ----------
    .. [1] McCaffrey DF, Bell RM. Stat Med 2006;25:4081-4098.
    .. [2] Bell RM, McCaffrey DF. Survey Methodology 2002;28:169-181.
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    codes = cluster_codes(np.asarray(cluster), rows=len(matrix))[0]
    if not fit.converged or len(fit.coefficients) != matrix.shape[1] + 1:
        raise ValueError("fit must have converged on these terms with an intercept")
    z, back = scaled_design(matrix, intercept=True)
    risk = fitted_risks(fit.coefficients[0] + matrix @ fit.coefficients[1:])
    grams, scores = _sums(z, risk * (1 - risk), outcome - risk, codes)
    bread = inverse(grams.sum(axis=0))
    turned = _adjustments(grams, bread)
    sums = np.einsum("gij,gi->gj", turned, scores)
    covariance = bread @ (sums.T @ sums) @ bread
    df = np.array([_degrees(grams, turned, bread, bread @ row) for row in back])
    covariance = back @ covariance @ back.T
    silent = np.isnan(df)
    covariance[silent, :], covariance[:, silent] = np.nan, np.nan
    return BiasReduced(covariance=covariance, df=df, clusters=len(grams))


def _sums(
    z: FloatArray, variance: FloatArray, residual: FloatArray, codes: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Give Z' V Z and Z' residual of each cluster, shapes (g, p, p) and (g, p)."""
    at = np.unique(codes, return_inverse=True)[1]
    clusters, p = int(at.max()) + 1, z.shape[1]
    grams = np.empty((clusters, p, p))
    for i in range(p):
        for j in range(i, p):
            grams[:, i, j] = np.bincount(at, z[:, i] * variance * z[:, j], clusters)
            grams[:, j, i] = grams[:, i, j]
    sums = [np.bincount(at, residual * column, clusters) for column in z.T]
    return grams, np.column_stack(sums).astype(np.float64)


def _adjustments(grams: FloatArray, bread: FloatArray) -> FloatArray:
    """Give T of each cluster so that (I - H)^(-1/2) Z = Z T; shape (g, p, p).

    With bread = L L', the squares of the singular values of Z L are the eigenvalues of H.
    """
    root = np.linalg.cholesky(bread)
    leverage, vectors = np.linalg.eigh(root.T @ grams @ root)
    left = 1 - leverage
    free = left > LEVERAGE_OF_ONE
    factor = np.where(free, 1 / np.sqrt(np.where(free, left, 1.0)), 0.0)
    middle = np.einsum("gik,gk,gjk->gij", vectors, factor, vectors)
    return root @ middle @ np.linalg.inv(root)


def _degrees(
    grams: FloatArray, turned: FloatArray, bread: FloatArray, direction: FloatArray
) -> float:
    """Give 2 mean^2 / variance of the variance of one coefficient under independent rows."""
    moved = turned @ direction  # (g, p)
    reached = np.einsum("gij,gj->gi", grams, moved)
    own = np.einsum("gi,gi->g", moved, reached)
    shared = np.einsum("gi,ij,gj->g", reached, bread, reached)
    crossed = (reached.T @ reached) @ bread
    mean = float((own - shared).sum())
    square = float((own**2 - 2 * own * shared).sum() + np.trace(crossed @ crossed))
    told = mean > TELLS_NOTHING * float(direction @ grams.sum(axis=0) @ direction)
    return mean**2 / square if told else float("nan")
