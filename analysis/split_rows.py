"""Rows of follow-up cut at days, so that a term, or its effect, may change from one to the next."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, IntArray, finite_vector, non_negative, zero_one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SplitRows:
    """Rows in counting form: at risk from after `entry` to `time`; row by row, period by period."""

    row: IntArray  # (k,) place of the row in the input
    period: IntArray  # (k,) 0 up to the first cut, 1 from it to the second, ...
    entry: FloatArray  # (k,)
    time: FloatArray  # (k,)
    event: FloatArray  # (k,) 1 in the last stretch of a row that ends in the event


def split_rows(
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    cuts: npt.ArrayLike,
    *,
    entry: npt.ArrayLike | None = None,
) -> SplitRows:
    """Cut rows of follow-up at days.

    Parameters
    ----------
    time, event
        Day of leaving, above `entry`, and whether by the event, shape (n,).
    cuts
        Days, in any order; a row that leaves on a cut is not divided there.
    entry
        Day after which a row is at risk; None: 0.

    Returns
    -------
    SplitRows
        For ``fit_cox`` with `entry`; the partial likelihood of terms that do not change is that
        of the rows uncut. Rows of one row are a cluster. R: ``survSplit``.

    Raises
    ------
    ValueError
        If a value is missing or negative, an event is not 0/1, or a time is not after its entry.

    References
    ----------
    .. [1] Therneau TM, Grambsch PM. Modeling Survival Data. Springer 2000, section 3.7.
    """
    days = non_negative(time, "time")
    happened = zero_one(event, "event", rows=len(days))
    start = np.zeros(len(days)) if entry is None else non_negative(entry, "entry", rows=len(days))
    if (start >= days).any():
        row = int(np.argmax(start >= days))
        raise ValueError(
            f"time must be after entry in every row, got {start[row]:g} and {days[row]:g} "
            f"in row {row}"
        )
    edges = np.unique(finite_vector(cuts, "cuts"))
    first = np.searchsorted(edges, start, side="right")
    last = np.searchsorted(edges, days, side="left")
    pieces = last - first + 1
    row = np.repeat(np.arange(len(days)), pieces)
    period = np.arange(len(row)) - np.repeat(np.cumsum(pieces) - pieces - first, pieces)
    bounds = np.concatenate(([-np.inf], edges, [np.inf]))
    return SplitRows(
        row=row, period=period, entry=np.maximum(bounds[period], start[row]),
        time=np.minimum(bounds[period + 1], days[row]),
        event=np.where(period == last[row], happened[row], 0.0),
    )  # fmt: skip
