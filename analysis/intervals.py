"""The door of methods for days known only to lie between two visits."""

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, non_negative


def checked_interval(
    left: npt.ArrayLike, right: npt.ArrayLike, *, rows: int | None = None
) -> tuple[FloatArray, FloatArray]:
    """Check that each day lies in (left, right], or on left where both are equal.

    Returns
    -------
    tuple of FloatArray
        Both ends, shape (n,); a missing right end becomes infinite (right-censored).

    Raises
    ------
    ValueError
        If shapes differ, a left end is missing or negative, a right end lies before its left, or
        a day known exactly is 0.
    """
    start = non_negative(left, "left", rows=rows)
    end = np.array(right, dtype=np.float64)
    if end.shape != start.shape:
        raise ValueError(f"right must have {len(start)} values, got shape {end.shape}")
    end = np.where(np.isnan(end), np.inf, end)
    for wrong, rule in ((end < start, "not lie before left"), (end <= 0, "be above 0")):
        if wrong.any():
            row = int(np.argmax(wrong))
            raise ValueError(
                f"right must {rule}, got left {start[row]:g} and right {end[row]:g} in row {row} "
                f"(and {int(wrong.sum()) - 1} more)"
            )
    return start, end
