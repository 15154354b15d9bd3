"""Logistic regression by Newton's method for many weight vectors at once.

One design, one outcome, B columns of case weights: bootstrap, jackknife, profile and simulation
are all that. Nothing is checked here; ``analysis.logistic`` checks at its door.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray
from analysis.kernels.logistic_newton import DONE, MOVING, Newton, Sums
from analysis.kernels.logistic_tiles import (
    Tiles,
    cut_into_tiles,
    cut_weights,
    expected_and_curvature,
    sum_of_events,
)

ROWS_IN_BLOCK = 2_048  # rows of the design worked on at once
FEW_COLUMNS = 4  # up to here one Gram matrix a column is quicker than products of pairs
STEPS_AT_FIRST = 8  # columns that take more are worked on again among themselves


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
    """Rows of the design for few columns of weights, worked on block by block."""

    x: FloatArray  # (p, n)
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
        by more. Newton steps are quadratic: the error left is about the square of this, or 1e-14.
    """
    first = np.zeros(x.shape[1]) if start is None else start
    scale = np.sqrt(np.maximum((x**2).mean(axis=0), np.finfo(float).tiny))
    newton = Newton(first[:, None], scale[:, None], tolerance)
    if weights is None or weights.shape[1] <= FEW_COLUMNS:
        beta, state, steps = newton.fit(*_in_blocks(x, y, weights, offset), max_steps)
    else:
        tiles = cut_into_tiles(x, y, offset)
        beta, state, steps = _fit_tiles(tiles, weights, newton, min(max_steps, STEPS_AT_FIRST))
        late = np.flatnonzero(state == MOVING)
        if len(late) and max_steps > STEPS_AT_FIRST:
            again = _fit_tiles(tiles, weights[:, late], newton, max_steps)
            beta[:, late], state[late], steps = again
    converged = state == DONE
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
    rows = _Rows(np.ascontiguousarray(x.T), _column(offset, len(x)))
    _, information = _sums(rows, weights, coefficients, curved=True)
    return _log_likelihood(rows, y, weights, coefficients), np.moveaxis(information, 0, 2)


def fitted_risks(linear_predictor: FloatArray) -> FloatArray:
    """Give 1 / (1 + exp(-eta)) in place of `linear_predictor`; no overflow reaches the console."""
    with np.errstate(over="ignore"):
        np.negative(linear_predictor, out=linear_predictor)
        np.exp(linear_predictor, out=linear_predictor)
        linear_predictor += 1.0
        return np.reciprocal(linear_predictor, out=linear_predictor)


def _fit_tiles(
    tiles: Tiles, weights: FloatArray, newton: Newton, max_steps: int
) -> tuple[FloatArray, IntArray, int]:
    """Fit the columns of `weights`, shape (n, b), some tiles at once."""
    parts: list[tuple[FloatArray, IntArray, int]] = []
    width = tiles.width()
    for first in range(0, weights.shape[1], width):
        cut = cut_weights(tiles, weights[:, first : first + width])
        parts.append(
            newton.fit(sum_of_events(cut), partial(expected_and_curvature, cut), max_steps)
        )
    beta, state, steps = zip(*parts, strict=True)
    return np.concatenate(beta, axis=1), np.concatenate(state), max(steps)


def _in_blocks(
    x: FloatArray, y: FloatArray, weights: FloatArray | None, offset: FloatArray | None
) -> tuple[FloatArray, Sums]:
    """Give sum w y x, and the sums that depend on coefficients, for few columns."""
    rows = _Rows(np.ascontiguousarray(x.T), _column(offset, len(x)))
    target = rows.x @ (y[:, None] if weights is None else weights * y[:, None])

    def sums(
        beta: FloatArray, moving: BoolArray, curved: BoolArray
    ) -> tuple[FloatArray, FloatArray, BoolArray]:
        fresh = np.full(len(moving), curved.any())
        expected, information = _sums(rows, weights, beta, curved=bool(fresh[0]))
        return expected, information[fresh], fresh

    return target, sums


def _column(offset: FloatArray | None, n: int) -> FloatArray:
    return np.zeros((n, 1)) if offset is None else offset[:, None]


def _sums(
    rows: _Rows, weights: FloatArray | None, beta: FloatArray, *, curved: bool
) -> tuple[FloatArray, FloatArray]:
    """Give sum w mu x, shape (p, b), and X' diag(w mu (1 - mu)) X, (b, p, p), where `curved`."""
    p = len(beta)
    n_columns = beta.shape[1] if weights is None else weights.shape[1]
    expected = np.zeros((p, n_columns))
    hessian = np.zeros((n_columns, p, p))
    for block in rows.blocks():
        x = rows.x[:, block]
        mu = fitted_risks(x.T @ beta + rows.offset[block])
        weighted = mu if weights is None else weights[block] * mu
        expected += x @ weighted
        if curved:
            variance = weighted - weighted * mu
            for column in range(n_columns):
                hessian[column] += (x * variance[:, column]) @ x.T
    return expected, hessian


def _log_likelihood(
    rows: _Rows, y: FloatArray, weights: FloatArray | None, beta: FloatArray
) -> FloatArray:
    total = np.zeros(beta.shape[1])
    for block in rows.blocks():
        eta = rows.x[:, block].T @ beta + rows.offset[block]
        each = y[block, None] * eta - np.maximum(eta, 0.0) - np.log1p(np.exp(-np.abs(eta)))
        total += (each if weights is None else weights[block] * each).sum(axis=0)
    return total
