"""Newton's method for the coefficients of many logistic models that share their rows."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray

NEAR = 1e-2  # a move after which the curvature may stand while the score is taken anew
ROUNDING = 1e-14  # errors of coefficients below this are not told apart
MOVING, DONE, LOST = 0, 1, 2  # states of a column

# From coefficients, (p, b) or (p, 1) for all columns, which columns still move, and of which the
# information is wanted: sum w mu x, (p, b); the information, (k, p, p), of k columns; and which
# those are, (b,).
Sums = Callable[[FloatArray, BoolArray, BoolArray], tuple[FloatArray, FloatArray, BoolArray]]


@dataclass(frozen=True, slots=True, eq=False)
class Newton:
    """Where to start, the size of each variable, and the move at which a column is done."""

    start: FloatArray  # (p, 1)
    scale: FloatArray  # (p, 1)
    tolerance: float

    def fit(
        self, target: FloatArray, sums: Sums, max_steps: int
    ) -> tuple[FloatArray, IntArray, int]:
        """Give coefficients, shape (p, b), the state of each column, and the steps taken.

        `target` is sum w y x, shape (p, b). A column that is done or lost stands still.
        """
        n_columns = target.shape[1]
        beta = np.repeat(self.start, n_columns, axis=1)
        state = np.full(n_columns, MOVING)
        last_move, last_size = np.zeros_like(beta), np.full(n_columns, np.inf)
        last_decrement = np.full(n_columns, np.inf)
        hessian = np.empty((n_columns, len(beta), len(beta)))
        curved, step = np.ones(n_columns, dtype=np.bool_), 0
        while step < max_steps and (state == MOVING).any():
            step += 1
            active = np.flatnonzero(state == MOVING)
            here = beta if step > 1 else self.start
            expected, found, fresh = sums(here, state == MOVING, curved)
            hessian[fresh] = found
            gradient = (target - expected)[:, active]
            move = _solve(hessian[active], gradient)
            decrement = np.einsum("pb,pb->b", gradient, move)
            # a worse point than the last one: take back half of the step that led here
            overshot = decrement > 2 * last_decrement[active]
            move[:, overshot] = -last_move[:, active[overshot]] / 2
            last_decrement[active[~overshot]] = decrement[~overshot]
            last_move[:, active] = np.where(overshot, -move, move)
            size = np.abs(move * self.scale).max(axis=0)
            beta[:, active] += np.where(np.isfinite(size), move, 0.0)
            done = self._arrived(size, last_size[active], exact=fresh[active]) & ~overshot
            state[active[done]] = DONE
            state[active[~np.isfinite(size)]] = LOST
            slow = (size > last_size[active] / 10) & ~fresh[active]
            last_size[active] = size
            curved[active] = (overshot | slow | (size > NEAR)) & ~done
        return beta, state, step

    def _arrived(self, size: FloatArray, last: FloatArray, *, exact: BoolArray) -> BoolArray:
        """Say which columns are done; where the curvature is not `exact`, moves must tell.

        Those shrink by about the same share each time: what is left is that share of this one.
        """
        with np.errstate(
            over="ignore", invalid="ignore"
        ):  # a column on its way to infinity has not arrived
            left = 10 * size**2 / np.maximum(last, ROUNDING)
        return (size < self.tolerance) & (exact | (left < max(self.tolerance**2, ROUNDING)))


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
