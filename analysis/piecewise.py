"""Proportional hazards over a hazard that is constant within pieces of time."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    BoolArray,
    FloatArray,
    cluster_codes,
    column_names,
    finite_matrix,
    non_negative,
)
from analysis.intervals import checked_interval
from analysis.kernels.piecewise import PieceRows, climb_pieces, cumulative, cut_rows
from analysis.piecewise_result import (
    Found,
    PiecewiseFit,
    no_piecewise_fit,
    piecewise_result,
)
from analysis.rank import find_redundant

__all__ = ["PiecewiseFit", "fit_piecewise", "piecewise_risks"]


def fit_piecewise(
    x: npt.ArrayLike,
    left: npt.ArrayLike,
    right: npt.ArrayLike,
    *,
    cuts: Sequence[float],
    entry: npt.ArrayLike | None = None,
    weights: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
    names: Sequence[str] = (),
) -> PiecewiseFit:
    """Fit hazard = rate of the piece * exp(x beta) by maximum likelihood.

    Parameters
    ----------
    x
        Terms without a constant, shape (n, p); p may be 0.
    left, right
        The day lies in (left, right]: equal ends where it is known, `right` NaN or infinite where
        it had not come by `left`. Days known exactly must be above 0.
    cuts
        Days at which the rate changes, rising, above 0; a day on a cut belongs to the piece that
        ends there. None: the exponential model.
    entry
        Day after which a row is at risk (left truncation), not after `left`.
    weights
        Case weights >= 0.
    cluster
        Label of each row's cluster; then `covariance` is the sandwich, without a small-sample
        factor.

    Returns
    -------
    PiecewiseFit
        Without an event, or with a constant or repeated column, it holds no number and says why.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, an interval is turned round, an entry lies after its
        left end, or the cuts do not rise.

    Notes
    -----
    Right-censored rows: R's ``glm(event ~ piece + x + offset(log(days)), poisson)`` on rows split
    at the cuts [1]_. Intervals that begin and end at cuts: a binomial model with complementary
    log-log link of one row a piece [2]_.

    References
    ----------
    .. [1] Holford TR. Biometrics 1980;36:299-305. Laird N, Olivier D. J Am Stat Assoc
       1981;76:231-240.
    .. [2] Prentice RL, Gloeckler LA. Biometrics 1978;34:57-67.
    """
    matrix = finite_matrix(x, "x")
    start, end = checked_interval(left, right, rows=len(matrix))
    entered = _checked_entry(entry, start, end)
    edges = _edges(cuts)
    weight = np.ones(len(start)) if weights is None else non_negative(
        weights, "weights", rows=len(start))  # fmt: skip
    labels = column_names(names, matrix.shape[1])
    codes, clusters = (None, None) if cluster is None else cluster_codes(cluster, rows=len(start))
    used = weight > 0
    counts = int(used.sum()), int((np.isfinite(end) & used).sum()), clusters
    redundant = find_redundant(matrix[used], labels, intercept=True)
    if redundant or not counts[1]:
        return no_piecewise_fit(labels, edges, counts, redundant)
    centre, spread = matrix[used].mean(axis=0), matrix[used].std(axis=0)
    rows = cut_rows((entered, start, end), edges[1:-1], (matrix - centre) / spread, weight)
    timed = np.asarray((rows.before + rows.between)[used].sum(axis=0) > 0)
    top = climb_pieces(_only(rows, timed, terms=True))
    null = climb_pieces(_only(rows, timed, terms=False)) if labels else top
    if not (top.converged and null.converged):
        return no_piecewise_fit(labels, edges, counts, ())
    return piecewise_result(Found(top, weight, codes, timed, centre, spread), null, counts=counts,
                   edges=edges, names=labels)  # fmt: skip


def piecewise_risks(fit: PiecewiseFit, x: npt.ArrayLike, days: Sequence[float]) -> FloatArray:
    """Give the mean risk of rows `x` (m, p) by each of some days, shape (len(days),).

    NaN where a piece before the day has no rate, or a term has no coefficient.
    """
    matrix = finite_matrix(x, "x")
    rates = np.exp(fit.log_rates)
    asked = np.asarray(days, np.float64)
    known = np.isfinite(rates)
    hazard = cumulative(asked, fit.edges, np.where(known, rates, 0.0))
    unknown = cumulative(asked, fit.edges, np.where(known, 0.0, 1.0)) > 0
    share = np.exp(matrix @ fit.coefficients)
    risks = np.array([float(np.mean(-np.expm1(-height * share))) for height in hazard])
    return np.where(unknown, np.nan, risks)


def _only(rows: PieceRows, timed: BoolArray, *, terms: bool) -> PieceRows:
    """Leave out pieces in which nobody is at risk, and the terms where they are not wanted."""
    return replace(
        rows, before=rows.before[:, timed], between=rows.between[:, timed],
        on_day=rows.on_day[:, timed], x=rows.x if terms else rows.x[:, :0],
    )  # fmt: skip


def _edges(cuts: Sequence[float]) -> FloatArray:
    inner = np.asarray(cuts, dtype=np.float64)
    if inner.size and (
        not np.isfinite(inner).all() or inner[0] <= 0 or (np.diff(inner) <= 0).any()
    ):
        raise ValueError(f"cuts must be days above 0 that rise, got {list(cuts)}")
    return np.concatenate([[0.0], inner, [np.inf]])


def _checked_entry(entry: npt.ArrayLike | None, start: FloatArray, end: FloatArray) -> FloatArray:
    if entry is None:
        return np.zeros(len(start))
    entered = non_negative(entry, "entry", rows=len(start))
    late = (entered > start) | (entered == end)
    if late.any():
        row = int(np.argmax(late))
        raise ValueError(
            f"entry must lie before the day, got {entered[row]:g} and {start[row]:g} in row {row} "
            f"(and {int(late.sum()) - 1} more)"
        )
    return entered
