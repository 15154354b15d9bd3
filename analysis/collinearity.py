"""How much the terms of a model say the same: variance inflation and the condition number."""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from analysis.arrays import finite_matrix, non_negative


def variance_inflation(
    x: npt.ArrayLike, terms: Sequence[str], *, weights: npt.ArrayLike | None = None
) -> Mapping[str, tuple[float, int]]:
    """Give the variance inflation of each term, and the number of its columns.

    Parameters
    ----------
    x
        Design without the intercept, shape (n, p); no column constant or determined by others.
    terms
        Name of the term of each column, shape (p,).
    weights
        Weight of each row, shape (n,).

    Returns
    -------
    Mapping
        By term: det(R11) det(R22) / det(R) of the correlations of its columns, of the others and
        of all [1]_; for a single column 1 / (1 - R squared). Its power 1 / (2 columns) compares
        terms of several columns. Infinite where a column is determined by others.

    References
    ----------
    .. [1] Fox J, Monette G. J Am Stat Assoc 1992;87:178-183.
    """
    matrix = finite_matrix(x, "x")
    w = np.ones(len(matrix)) if weights is None else non_negative(
        weights, "weights", rows=len(matrix))  # fmt: skip
    centred = (matrix - np.average(matrix, axis=0, weights=w)) * np.sqrt(w)[:, None]
    scaled = centred / np.sqrt((centred**2).sum(axis=0))
    correlation = scaled.T @ scaled
    names = np.asarray(terms)
    whole = _log_det(correlation)
    found: dict[str, tuple[float, int]] = {}
    for term in dict.fromkeys(terms):
        own = names == term
        parts = sum(_log_det(correlation[np.ix_(part, part)]) for part in (own, ~own))
        found[term] = (float(np.exp(min(parts - whole, 700.0))), int(own.sum()))
    return found


def condition_number(x: npt.ArrayLike, *, weights: npt.ArrayLike | None = None) -> float:
    """Give the largest over the smallest singular value of the design with its intercept.

    Columns are scaled to equal length and not centred [1]_: a calendar year beside an intercept
    counts. Above 30 some coefficients are hard to tell apart, by a rule of thumb.

    References
    ----------
    .. [1] Belsley DA, Kuh E, Welsch RE. Regression Diagnostics. Wiley 1980, section 3.2.
    """
    matrix = finite_matrix(x, "x")
    w = np.ones(len(matrix)) if weights is None else non_negative(
        weights, "weights", rows=len(matrix))  # fmt: skip
    z = np.column_stack([np.ones(len(matrix)), matrix]) * np.sqrt(w)[:, None]
    values = np.linalg.svd(z / np.sqrt((z**2).sum(axis=0)), compute_uv=False)
    return float(values[0] / values[-1]) if values[-1] > 0 else float("inf")


def _log_det(matrix: np.ndarray) -> float:
    sign, value = np.linalg.slogdet(matrix)
    return float(value) if sign > 0 else -np.inf
