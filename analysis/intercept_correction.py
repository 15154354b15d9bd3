"""Firth's logistic fit with its intercept corrected, so that risks average to those observed."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, finite_matrix, inverse, non_negative, zero_one
from analysis.firth import FirthFit
from analysis.kernels.logistic import curvature_batch, fit_logistic_batch
from analysis.scaling import scaled_design


def corrected_intercept(
    fit: FirthFit, x: npt.ArrayLike, y: npt.ArrayLike, *, weights: npt.ArrayLike | None = None
) -> FirthFit:
    """Fit the intercept anew by maximum likelihood, the penalised odds ratios held.

    Parameters
    ----------
    fit
        Of the same `x`, `y` and `weights`.
    x, y, weights
        As in ``fit_firth``.

    Returns
    -------
    FirthFit
        Its other coefficients, limits and tests as they were. `covariance` is the inverse
        information at the corrected estimate: to first order the intercept that solves its own
        equation given the odds ratios varies as that of maximum likelihood does. A fit without a
        number comes back as it is.

    Notes
    -----
    Firth's risks are mostly drawn towards one half, the more so the rarer the outcome; with this
    intercept their (weighted) mean is the share observed (FLIC) [1]_.

    References
    ----------
    .. [1] Puhr R et al. Stat Med 2017;36:2302-2317.
    """
    if not fit.converged:
        return fit
    matrix = finite_matrix(x, "x")
    n = len(matrix)
    outcome = zero_one(y, "y", rows=n)
    w = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    used = w > 0
    matrix, outcome, w = matrix[used], outcome[used], w[used, None]
    offset = matrix @ fit.coefficients[1:]
    one = np.ones((len(matrix), 1), order="F")
    found = fit_logistic_batch(
        one, outcome, w, start=np.array([-float(np.average(offset, weights=w[:, 0]))]),
        offset=offset, max_steps=100,
    )  # fmt: skip
    if not found.converged[0]:
        return fit
    beta = np.concatenate([found.coefficients[0], fit.coefficients[1:]])
    z, back = scaled_design(matrix)
    gamma: FloatArray = np.linalg.solve(back, beta).astype(np.float64)
    _, information = curvature_batch(z, outcome, gamma[:, None], w)
    covariance = back @ inverse(information[:, :, 0]) @ back.T
    return replace(fit, coefficients=beta, covariance=covariance)
