"""Cluster bootstrap as case weights, in chunks that each have a random stream of their own."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, cluster_codes

REPLICATES_IN_CHUNK = 50  # fixed: results must not hang on how many workers share the chunks


def cluster_multiplicities(
    cluster: npt.ArrayLike, *, replicates: int, seed: int
) -> Iterator[FloatArray]:
    """Draw clusters with replacement; give how often each row counts, shape (n, <= 50) at a time.

    Parameters
    ----------
    cluster
        Label of each row's cluster, shape (n,).
    replicates
        Number of bootstrap samples in all.
    seed
        Of the study; every chunk draws from its own child of ``SeedSequence(seed)``, so that
        chunks may be made in any order, by any number of workers.
    """
    labels = np.asarray(cluster)
    codes, clusters = cluster_codes(labels, rows=len(labels))
    starts = range(0, replicates, REPLICATES_IN_CHUNK)
    children = np.random.SeedSequence(seed).spawn(len(starts))
    even = np.full(clusters, 1 / clusters)
    for first, child in zip(starts, children, strict=True):
        size = min(REPLICATES_IN_CHUNK, replicates - first)
        drawn = np.random.default_rng(child).multinomial(clusters, even, size=size)
        yield drawn.T[codes].astype(np.float64)
