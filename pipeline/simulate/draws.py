"""Small draws that the parts of the simulator share: choices by weight and by log odds."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


def chance(log_odds: npt.ArrayLike) -> FloatArray:
    """Turn log odds into a probability."""
    return 1 / (1 + np.exp(-np.asarray(log_odds, dtype=np.float64)))


def choose(uniform: FloatArray, weights: Sequence[float] | FloatArray) -> IntArray:
    """Choose a code per row: `uniform` (n,) in [0, 1), `weights` (k,) or (n, k), not negative."""
    table = np.atleast_2d(np.asarray(weights, dtype=np.float64))
    bounds = np.cumsum(table, axis=1) / table.sum(axis=1, keepdims=True)
    return (uniform[:, None] >= bounds[:, :-1]).sum(axis=1).astype(np.int64)


def labels(codes: IntArray, names: Sequence[str | None]) -> list[str | None]:
    """Put the names of codes in their place."""
    return [names[code] for code in codes]
