"""Bootstrap limits of standardised risks: animals drawn with replacement, models refitted."""

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, finite_matrix, non_negative, zero_one
from analysis.bootstrap import cluster_multiplicities
from analysis.kernels.logistic import fit_logistic_batch
from analysis.scaling import scaled_design
from analysis.standardise import StandardisedRisks, point_risks, with_percentile_limits

CLOSE_ENOUGH = 1e-5  # of a Newton step: the error left is about its square


def bootstrap_standardised_risks(
    point: StandardisedRisks,
    *,
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    arms: tuple[npt.ArrayLike, npt.ArrayLike],
    cluster: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    replicates: int = 1000,
    seed: int,
) -> StandardisedRisks:
    """Give `point` with the percentile limits of a cluster bootstrap.

    Parameters
    ----------
    point
        What ``standardised_risks`` gave.
    x, y, weights
        As for ``fit_logistic``; a row whose outcome is not known has weight 0 and any `y`.
    arms
        Terms with everybody in the reference, and in the exposed arm: shape (n, q) each.
    cluster
        Label of each row's cluster, shape (n,): whole clusters are drawn.

    Returns
    -------
    StandardisedRisks
        Weights are taken as known. Samples without a fit (separated by chance) are left out,
        counted in `n_failed` and named by the concern resamples_failed.

    Raises
    ------
    ValueError
        If shapes differ, or the model of all rows or of every sample has no maximum.

    Notes
    -----
    Samples enter as case weights; the population that is standardised over is drawn with them.

    References
    ----------
    .. [1] Davison AC, Hinkley DV. Bootstrap Methods and their Application. CUP 1997, 2.4, 3.8.
    """
    matrix = finite_matrix(x, "x")
    n = len(matrix)
    outcome = zero_one(y, "y", rows=n)
    both = (finite_matrix(arms[0], "arms", rows=n), finite_matrix(arms[1], "arms", rows=n))
    base = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    z, back = scaled_design(matrix)
    full = fit_logistic_batch(z, outcome, base[:, None])
    if not full.converged[0]:
        raise ValueError("the model of all rows has no maximum to start from")
    chunks: list[FloatArray] = []
    for counts in cluster_multiplicities(cluster, replicates=replicates, seed=seed):
        batch = fit_logistic_batch(
            z,
            outcome,
            base[:, None] * counts,
            start=full.coefficients[:, 0],
            tolerance=CLOSE_ENOUGH,
        )
        fitted = batch.converged
        population = counts[:, fitted] / counts[:, fitted].sum(axis=0)
        chunks.append(point_risks(back @ batch.coefficients[:, fitted], both, population))
    samples = np.concatenate(chunks, axis=1)
    if samples.shape[1] < 2:
        raise ValueError("no bootstrap sample could be fitted")
    return with_percentile_limits(
        point,
        samples,
        confidence=point.difference.confidence,
        n_failed=replicates - samples.shape[1],
    )
