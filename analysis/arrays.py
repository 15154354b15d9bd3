"""Array types, and the checks that every estimator makes at its door."""

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
SMALL_LABEL = 4_000_000


def finite_matrix(values: npt.ArrayLike, name: str, *, rows: int | None = None) -> FloatArray:
    """Give `values` as a float matrix, shape (n, p).

    Raises
    ------
    ValueError
        If the shape is wrong or a value is missing or infinite.
    """
    return _finite(values, name, rows, "two dimensions")


def finite_vector(values: npt.ArrayLike, name: str, *, rows: int | None = None) -> FloatArray:
    """Give `values` as a float vector, shape (n,).

    Raises
    ------
    ValueError
        If the shape is wrong or a value is missing or infinite.
    """
    return _finite(values, name, rows, "one dimension")


def zero_one(values: npt.ArrayLike, name: str, *, rows: int | None = None) -> FloatArray:
    """Give `values` as a float vector of zeros and ones, shape (n,).

    Raises
    ------
    ValueError
        If another value than 0, 1, false or true stands in it; 1 and 2 are no events.
    """
    vector = finite_vector(values, name, rows=rows)
    if not bool(np.equal(vector * vector, vector).all()):
        strange = vector[(vector != 0) & (vector != 1)]
        raise ValueError(f"{name} must hold 0 and 1 only, got {strange[0]:g}")
    return vector


def non_negative(values: npt.ArrayLike, name: str, *, rows: int | None = None) -> FloatArray:
    """Give `values` as a float vector without a negative value, shape (n,)."""
    vector = finite_vector(values, name, rows=rows)
    if vector.size and vector.min() < 0:
        raise ValueError(f"{name} must not be negative, got {vector.min():g}")
    return vector


def cluster_codes(cluster: npt.ArrayLike, *, rows: int) -> tuple[IntArray, int]:
    """Give each row the number of its cluster, 0, 1, … in sorted order, and how many there are.

    Raises
    ------
    ValueError
        If the shape is wrong or a label is missing.
    """
    codes, values = labelled(cluster, rows=rows)
    return codes, len(values)


def labelled(cluster: npt.ArrayLike, *, rows: int) -> tuple[IntArray, npt.NDArray[Any]]:
    """Give each row the number of its label, and the labels in sorted order; as ``cluster_codes``.

    Raises
    ------
    ValueError
        If the shape is wrong or a label is missing.
    """
    labels = np.asarray(cluster)
    if labels.shape != (rows,):
        raise ValueError(f"cluster must have shape ({rows},), got {labels.shape}")
    if labels.dtype == object and any(label is None for label in labels):
        raise ValueError("cluster must not be missing in a row")
    if (
        labels.dtype.kind in "iu"
        and labels.size
        and 0 <= labels.min() <= labels.max() < SMALL_LABEL
    ):
        present = np.bincount(labels) > 0  # whole numbers are numbered without a sort
        if present.all():
            return labels.astype(np.int64, copy=False), np.arange(len(present))
        return (np.cumsum(present) - 1)[labels], np.flatnonzero(present)
    values, codes = np.unique(labels, return_inverse=True)
    return codes.astype(np.int64), values


def column_names(names: Sequence[str], count: int) -> tuple[str, ...]:
    """Name the columns: as given, else x1, x2 and so on."""
    if not names:
        return tuple(f"x{place}" for place in range(1, count + 1))
    if len(names) != count:
        raise ValueError(f"names must name {count} columns, got {len(names)}")
    return tuple(names)


def inverse(matrix: FloatArray) -> FloatArray:
    """Invert a square matrix, shape (p, p)."""
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _finite(
    values: npt.ArrayLike,
    name: str,
    rows: int | None,
    shape: Literal["one dimension", "two dimensions"],
) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != (1 if shape == "one dimension" else 2):
        raise ValueError(f"{name} must have {shape}, got {array.ndim}")
    if rows is not None and len(array) != rows:
        raise ValueError(f"{name} must have {rows} rows, got {len(array)}")
    if not np.isfinite(array).all():
        raise ValueError(f"{name} must be finite in every row: drop and count missing rows before")
    return array
