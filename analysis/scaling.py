"""A design with unit spread, and the way back to the units it came in."""

import numpy as np

from analysis.arrays import FloatArray


def scaled_design(
    x: FloatArray, *, intercept: bool = True, centre: bool = True
) -> tuple[FloatArray, FloatArray]:
    """Centre and scale the columns of `x`, shape (n, q), behind an intercept column.

    Returns
    -------
    z, back
        Design, shape (n, p), and A, shape (p, p), with coefficients of x = A coefficients of z
        (covariances: A V A'). Without an intercept nothing is centred.

    Notes
    -----
    A calendar year next to an intercept makes the information nearly singular; centred it does
    not. Columns must vary: see ``find_redundant``.
    """
    spread = np.sqrt(np.maximum(x.var(axis=0), np.finfo(float).tiny))
    if not intercept:
        spread = np.sqrt(np.maximum((x**2).mean(axis=0), np.finfo(float).tiny))
        return x / spread, np.diag(1 / spread)
    middle = x.mean(axis=0) if centre else np.zeros(x.shape[1])
    z = np.empty((len(x), x.shape[1] + 1), order="F")
    z[:, 0] = 1.0
    np.subtract(x, middle, out=z[:, 1:])
    z[:, 1:] /= spread
    back = np.diag(np.concatenate(([1.0], 1 / spread)))
    back[0, 1:] = -middle / spread
    return z, back
