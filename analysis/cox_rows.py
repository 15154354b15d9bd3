"""The door of the Cox model: rows are checked once, here."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    finite_matrix,
    non_negative,
    zero_one,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoxRows:
    """The checked rows of a fit, those of weight zero left out; n rows, p terms."""

    time: FloatArray
    event: FloatArray  # 0 or 1
    x: FloatArray
    entry: FloatArray | None
    strata: IntArray | None  # 0, 1, ... in sorted order of the labels
    weights: FloatArray | None
    cluster: IntArray | None


def checked_rows(
    x: npt.ArrayLike,
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    entry: npt.ArrayLike | None,
    strata: npt.ArrayLike | None,
    weights: npt.ArrayLike | None,
    cluster: npt.ArrayLike | None,
) -> CoxRows:
    """Check the input of a Cox model; rows of weight zero are left out."""
    matrix = finite_matrix(x, "x")
    n = len(matrix)
    days, happened = non_negative(time, "time", rows=n), zero_one(event, "event", rows=n)
    start = None if entry is None else non_negative(entry, "entry", rows=n)
    if start is not None and (start >= days).any():
        row = int(np.argmax(start >= days))
        raise ValueError(
            f"entry must be before time in every row, got {start[row]:g} and {days[row]:g} "
            f"in row {row} (and {int((start >= days).sum()) - 1} more)"
        )
    weight = None if weights is None else non_negative(weights, "weights", rows=n)
    groups = None if strata is None else cluster_codes(strata, rows=n)[0]
    codes = None if cluster is None else cluster_codes(cluster, rows=n)[0]
    used = slice(None) if weight is None or weight.all() else np.flatnonzero(weight > 0)
    if weight is not None and not weight.any():
        raise ValueError("weights must be above zero in at least one row")
    if not n:
        raise ValueError("time must have at least one row, got none")
    return CoxRows(
        time=days[used], event=happened[used], x=matrix[used],
        entry=None if start is None else start[used],
        strata=None if groups is None else groups[used],
        weights=None if weight is None else weight[used],
        cluster=None if codes is None else codes[used],
    )  # fmt: skip
