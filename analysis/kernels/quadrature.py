"""Marginal likelihood of a logistic model with a random intercept, by adaptive quadrature.

Each cluster has Gauss and Hermite's points laid around the mode of its own intercept, as wide as
the curvature there says; derivatives are those of the integral, taken over the same points.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from analysis.arrays import FloatArray, IntArray
from analysis.kernels.logistic import fitted_risks

MODE_STEPS = 60
LONGEST_STEP = 2.0  # of a mode, in standard deviations of the intercepts


@dataclass(frozen=True, slots=True, eq=False)
class MixedRows:
    """Rows in the order of their clusters."""

    z: FloatArray  # (n, p)
    y: FloatArray  # (n,)
    codes: IntArray  # (n,), 0 0 1 1 1 ...
    starts: IntArray  # (clusters,)

    def by_cluster(self, values: FloatArray) -> FloatArray:
        """Sum rows, shape (n, ...), within clusters."""
        return np.add.reduceat(values, self.starts, axis=0)


@dataclass(frozen=True, slots=True, eq=False)
class MarginalPoint:
    """The log likelihood and its derivatives, the spread of the intercepts last."""

    log_likelihood: float
    gradient: FloatArray  # (p + 1,)
    information: FloatArray  # (p + 1, p + 1), observed


def mixed_rows(z: FloatArray, y: FloatArray, codes: IntArray) -> MixedRows:
    """Sort rows by cluster."""
    order = np.argsort(codes, kind="stable")
    sorted_codes = codes[order]
    starts = np.flatnonzero(np.append(True, np.diff(sorted_codes) > 0))
    return MixedRows(z[order], y[order], sorted_codes, starts)


def marginal_point(rows: MixedRows, beta: FloatArray, spread: float, points: int) -> MarginalPoint:
    """Integrate the intercepts out at coefficients, shape (p,), and their standard deviation.

    The gradient is the mean of the complete data's score over the intercepts given the outcomes,
    the information the mean of its information less the variance of that score (Louis).
    """
    fixed = rows.z @ beta
    intercepts, log_weights = _adapted(rows, fixed, spread, points)
    eta = fixed[:, None] + spread * intercepts[rows.codes]
    y = rows.y[:, None]
    height = rows.by_cluster(y * eta - np.logaddexp(0.0, eta)) + log_weights
    total = np.asarray(logsumexp(height, axis=1), dtype=np.float64)
    share = np.exp(height - total[:, None])  # (clusters, points)
    risk = fitted_risks(eta)
    scores = _scores(rows, y - risk, intercepts)
    mean = np.einsum("pck,ck->pc", scores, share)
    spread_of_score = np.einsum("pck,qck,ck->pq", scores, scores, share) - mean @ mean.T
    information = _complete_information(rows, risk * (1 - risk), intercepts, share)
    return MarginalPoint(float(total.sum()), mean.sum(axis=1), information - spread_of_score)


def _scores(rows: MixedRows, residual: FloatArray, intercepts: FloatArray) -> FloatArray:
    """Give the score of each cluster at each of its points, shape (p + 1, clusters, points)."""
    parts = [rows.by_cluster(residual * column[:, None]) for column in rows.z.T]
    return np.stack([*parts, rows.by_cluster(residual) * intercepts])


def _complete_information(
    rows: MixedRows, weight: FloatArray, intercepts: FloatArray, share: FloatArray
) -> FloatArray:
    expected = weight * share[rows.codes]
    at = intercepts[rows.codes]
    plain, first, second = (
        (expected * power).sum(axis=1) for power in (np.ones_like(at), at, at**2)
    )
    p = rows.z.shape[1]
    out = np.empty((p + 1, p + 1))
    out[:p, :p] = (rows.z * plain[:, None]).T @ rows.z
    out[:p, p] = out[p, :p] = rows.z.T @ first
    out[p, p] = second.sum()
    return out


def _adapted(
    rows: MixedRows, fixed: FloatArray, spread: float, points: int
) -> tuple[FloatArray, FloatArray]:
    """Give each cluster's points and the logs of their weights, shape (clusters, points)."""
    mode, curvature = _modes(rows, fixed, spread)
    nodes, weights = np.polynomial.hermite.hermgauss(points)
    width = np.sqrt(2 / curvature)[:, None]
    intercepts = mode[:, None] + width * nodes
    log_density = -(intercepts**2) / 2 - np.log(2 * np.pi) / 2
    return intercepts, np.log(weights) + nodes**2 + np.log(width) + log_density


def _modes(rows: MixedRows, fixed: FloatArray, spread: float) -> tuple[FloatArray, FloatArray]:
    """Find the likeliest intercept of each cluster and the curvature there."""
    mode = np.zeros(len(rows.starts))
    curvature = np.ones_like(mode)
    for _ in range(MODE_STEPS):
        risk = fitted_risks(fixed + spread * mode[rows.codes])
        slope = spread * rows.by_cluster(rows.y - risk) - mode
        curvature = 1 + spread**2 * rows.by_cluster(risk * (1 - risk))
        step = np.clip(slope / curvature, -LONGEST_STEP, LONGEST_STEP)
        mode += step
        if np.abs(step).max() < 1e-10:
            break
    return mode, curvature
