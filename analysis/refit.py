"""The same logistic model fitted again under other weights of its rows."""

import numpy as np

from analysis.arrays import BoolArray, FloatArray, inverse
from analysis.kernels.firth import maximise_penalised
from analysis.kernels.logistic import fit_logistic_batch
from analysis.scaling import scaled_design


def refit(
    x: FloatArray,
    y: FloatArray,
    weights: FloatArray,
    *,
    penalised: bool = False,
    start: FloatArray | None = None,
    tolerance: float = 1e-8,
) -> FloatArray:
    """Fit one model a column of `weights`, by maximum likelihood or Firth's penalised likelihood.

    Parameters
    ----------
    x
        Terms without the intercept, shape (n, q), checked.
    y
        Outcome, shape (n,); a row of weight 0 may hold anything.
    weights
        Shape (n, B), >= 0.
    penalised
        Whether the model is Firth's.
    start
        Coefficients to start from, shape (q + 1,): those of all rows.

    Returns
    -------
    FloatArray
        Coefficients, the intercept first, shape (q + 1, B); NaN in a column without a fit.
    """
    z, back = scaled_design(x)
    if not weights.shape[1]:
        return np.empty((z.shape[1], 0))
    first = None if start is None else inverse(back) @ start
    if not penalised:
        batch = fit_logistic_batch(z, y, weights, start=first, tolerance=tolerance)
        return back @ batch.coefficients
    free = np.ones(z.shape[1], dtype=np.bool_)
    columns = [_firth(z, y, column, start=first, free=free) for column in weights.T]
    return back @ np.column_stack(columns)


def _firth(
    z: FloatArray, y: FloatArray, weights: FloatArray, *, start: FloatArray | None, free: BoolArray
) -> FloatArray:
    nothing = np.full(z.shape[1], np.nan)
    used = weights > 0
    if not 0 < y[used].sum() < used.sum():
        return nothing
    try:
        top = maximise_penalised(
            z[used], y[used], weights[used],
            start=np.zeros(z.shape[1]) if start is None else start, free=free,
        )  # fmt: skip
    except np.linalg.LinAlgError:  # a column that is constant in what is left
        return nothing
    return top.coefficients if top.converged else nothing
