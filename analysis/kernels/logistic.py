"""Logistic regression by Newton's method for many weight vectors at once.

One design, one outcome, B columns of case weights: bootstrap, jackknife, profile and simulation
are all that. Nothing is checked here; ``analysis.logistic`` checks at its door.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray

ROWS_IN_BLOCK = 2_048  # rows of the design worked on at once: their pairs stay in cache
CELLS_IN_CHUNK = 131_072  # rows x columns of weights worked on at once: 1 MB, stays in cache
FEW_COLUMNS = 4  # up to here one Gram matrix a column is quicker than products of pairs


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogisticBatch:
    """B fits; a column that did not converge holds NaN and is counted by `n_diverged`."""

    coefficients: FloatArray  # (p, B)
    converged: BoolArray  # (B,)
    steps: int  # Newton steps of the slowest column

    @property
    def n_diverged(self) -> int:
        """Number of columns without a fit: separated, not identified, or too slow."""
        return int((~self.converged).sum())


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Rows of the design prepared once: transposed, with the products of its pairs of columns."""

    x: FloatArray  # (p, n)
    pairs: FloatArray | None  # (p (p + 1) / 2, n); None where it would not fit in memory
    offset: FloatArray  # (n, 1)

    def blocks(self) -> Iterator[slice]:
        n = self.x.shape[1]
        return (slice(first, first + ROWS_IN_BLOCK) for first in range(0, n, ROWS_IN_BLOCK))


def fit_logistic_batch(
    x: FloatArray,
    y: FloatArray,
    weights: FloatArray | None = None,
    *,
    start: FloatArray | None = None,
    offset: FloatArray | None = None,
    tolerance: float = 1e-8,
    max_steps: int = 25,
) -> LogisticBatch:
    """Maximise the weighted log likelihood of a logistic model for each column of weights.

    Parameters
    ----------
    x
        Design with its intercept column, shape (n, p).
    y
        Outcome 0 or 1, shape (n,).
    weights
        Case weights >= 0, shape (n, B); left out, all are one and B is 1.
    start
        Coefficients to start from, shape (p,): those of the full data for a bootstrap.
    offset
        Known part of the linear predictor, shape (n,).
    tolerance
        A column is done when no coefficient, times the root mean square of its variable, moves
        by more. Newton steps are quadratic: the error left is about the square of this.
    """
    rows = _prepare(x, offset, n_columns=1 if weights is None else weights.shape[1])
    scale = np.sqrt(np.maximum((x**2).mean(axis=0), np.finfo(float).tiny))
    n_columns = 1 if weights is None else weights.shape[1]
    width = max(1, CELLS_IN_CHUNK // min(len(y), ROWS_IN_BLOCK))
    beta = np.repeat((np.zeros(x.shape[1]) if start is None else start)[:, None], n_columns, 1)
    converged = np.zeros(n_columns, dtype=np.bool_)
    steps = 0
    for first in range(0, n_columns, width):
        part = slice(first, first + width)
        w = None if weights is None else np.ascontiguousarray(weights[:, part])
        done = _fit_chunk(rows, y, w, beta[:, part], scale, (tolerance, max_steps))
        converged[part] = done[0]
        steps = max(steps, done[1])
    beta[:, ~converged] = np.nan
    return LogisticBatch(coefficients=beta, converged=converged, steps=steps)


def curvature_batch(
    x: FloatArray,
    y: FloatArray,
    coefficients: FloatArray,
    weights: FloatArray | None = None,
    *,
    offset: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Give log likelihood, shape (B,), and information, shape (p, p, B), at `coefficients` (p, B).

    The information is that of the weighted log likelihood: X' diag(w mu (1 - mu)) X.
    """
    n_columns = coefficients.shape[1]
    rows = _prepare(x, offset, n_columns=n_columns)
    log_likelihood = np.zeros(n_columns)
    information = np.empty((x.shape[1], x.shape[1], n_columns))
    width = max(1, CELLS_IN_CHUNK // min(len(y), ROWS_IN_BLOCK))
    for first in range(0, n_columns, width):
        part = slice(first, first + width)
        w = None if weights is None else weights[:, part]
        beta = np.ascontiguousarray(coefficients[:, part])
        log_likelihood[part] = _log_likelihood(rows, y, w, beta)
        _, hessian = _derivatives(rows, w, beta)
        information[:, :, part] = np.moveaxis(hessian, 0, 2)
    return log_likelihood, information


def fitted_risks(linear_predictor: FloatArray) -> FloatArray:
    """Give 1 / (1 + exp(-eta)) in place of `linear_predictor`; no overflow reaches the console."""
    with np.errstate(over="ignore"):
        np.negative(linear_predictor, out=linear_predictor)
        np.exp(linear_predictor, out=linear_predictor)
        linear_predictor += 1.0
        return np.reciprocal(linear_predictor, out=linear_predictor)


def _prepare(x: FloatArray, offset: FloatArray | None, *, n_columns: int) -> _Rows:
    transposed = np.ascontiguousarray(x.T)
    small = len(x) <= ROWS_IN_BLOCK and n_columns > FEW_COLUMNS
    known = np.zeros((len(x), 1)) if offset is None else offset[:, None]
    return _Rows(transposed, _pairs(transposed) if small else None, known)


def _pairs(x: FloatArray) -> FloatArray:
    first, second = np.triu_indices(len(x))
    return x[first] * x[second]


def _fit_chunk(
    rows: _Rows,
    y: FloatArray,
    weights: FloatArray | None,
    beta: FloatArray,
    scale: FloatArray,
    stop: tuple[float, int],
) -> tuple[BoolArray, int]:
    """Iterate the columns of `beta`, shape (p, b), in place; columns that are done stand still."""
    tolerance, max_steps = stop
    weighted_y = y[:, None] if weights is None else weights * y[:, None]
    target = rows.x @ weighted_y
    converged = np.zeros(beta.shape[1], dtype=np.bool_)
    active: IntArray = np.arange(beta.shape[1])
    w, last_move = weights, np.zeros_like(beta)
    last_decrement = np.full(beta.shape[1], np.inf)
    step = 0
    while active.size and step < max_steps:
        step += 1
        expected, hessian = _derivatives(rows, w, beta[:, active])
        gradient = target[:, active] - expected
        move = _solve(hessian, gradient)
        decrement = np.einsum("pb,pb->b", gradient, move)
        # a worse point than the last one: take back half of the step that led here
        overshot = decrement > 2 * last_decrement[active]
        move[:, overshot] = -last_move[:, active[overshot]] / 2
        last_decrement[active[~overshot]] = decrement[~overshot]
        last_move[:, active] = np.where(overshot, -move, move)
        beta[:, active] += move
        size = np.abs(move * scale[:, None]).max(axis=0)
        done = (size < tolerance) & ~overshot
        converged[active[done]] = True
        keep = ~done & np.isfinite(size)
        if not keep.all():
            active = active[keep]
            w = None if weights is None else weights[:, active]
    return converged, step


def _derivatives(
    rows: _Rows, weights: FloatArray | None, beta: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give the sum of x w mu, shape (p, b), and the Hessian X' diag(w mu (1 - mu)) X, (b, p, p)."""
    p, n_columns = beta.shape
    expected = np.zeros((p, n_columns))
    by_pair = n_columns > FEW_COLUMNS
    first, second = np.triu_indices(p)
    packed = np.zeros((len(first), n_columns))
    hessian = np.zeros((n_columns, p, p))
    for block in rows.blocks():
        x = rows.x[:, block]
        mu = fitted_risks(x.T @ beta + rows.offset[block])
        weighted = mu if weights is None else weights[block] * mu
        expected += x @ weighted
        variance = weighted - weighted * mu
        if by_pair:
            pairs = rows.pairs if rows.pairs is not None else _pairs(x)
            packed += pairs @ variance
        else:
            for column in range(n_columns):
                hessian[column] += (x * variance[:, column]) @ x.T
    if by_pair:
        hessian[:, first, second] = packed.T
        hessian[:, second, first] = packed.T
    return expected, hessian


def _solve(hessian: FloatArray, gradient: FloatArray) -> FloatArray:
    """Solve each column; a singular one gives NaN instead of stopping the others."""
    right = gradient.T[:, :, None]
    try:
        return np.asarray(np.linalg.solve(hessian, right)[:, :, 0].T, dtype=np.float64)
    except np.linalg.LinAlgError:
        solved = np.full_like(gradient, np.nan)
        for column, (matrix, vector) in enumerate(zip(hessian, gradient.T, strict=True)):
            try:
                solved[:, column] = np.linalg.solve(matrix, vector)
            except np.linalg.LinAlgError:
                continue
        return solved


def _log_likelihood(
    rows: _Rows, y: FloatArray, weights: FloatArray | None, beta: FloatArray
) -> FloatArray:
    total = np.zeros(beta.shape[1])
    for block in rows.blocks():
        eta = rows.x[:, block].T @ beta + rows.offset[block]
        each = y[block, None] * eta - np.maximum(eta, 0.0) - np.log1p(np.exp(-np.abs(eta)))
        total += (each if weights is None else weights[block] * each).sum(axis=0)
    return total
