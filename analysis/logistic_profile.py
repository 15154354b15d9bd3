"""Profile-likelihood limits of a logistic coefficient."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analysis.arrays import column_names, finite_matrix, inverse, non_negative, zero_one
from analysis.chi_square import normal_quantile
from analysis.kernels.logistic import curvature_batch, fit_logistic_batch, fitted_risks
from analysis.profile import profile_limit
from analysis.rank import find_redundant
from analysis.scaling import scaled_design


def profile_limits(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    term: str,
    *,
    weights: npt.ArrayLike | None = None,
    names: Sequence[str] = (),
    confidence: float = 0.95,
) -> tuple[float, float]:
    """Find the limits of one coefficient by profiling the likelihood; log odds scale.

    Parameters
    ----------
    x, y, weights, names
        As for ``fit_logistic``.
    term
        The column of `x` whose limits are wanted.

    Returns
    -------
    low, high
        Infinite where the profile never falls far enough (the term separates); NaN where the
        full model has no maximum.

    Raises
    ------
    ValueError
        If `term` is not a column, or the data are refused as by ``fit_logistic``.

    Notes
    -----
    R: ``confint(glm(...))``. Rows are taken as independent.

    References
    ----------
    .. [1] Venzon DJ, Moolgavkar SH. Applied Statistics 1988;37:87-94.
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    labels = column_names(names, matrix.shape[1])
    if term not in labels:
        raise ValueError(f"term must be one of {', '.join(labels)}, got {term!r}")
    root_target = normal_quantile(confidence)
    w = np.ones(len(outcome)) if weights is None else non_negative(weights, "weights")
    if find_redundant(matrix[w > 0], labels):
        return float("nan"), float("nan")
    z, back = scaled_design(matrix)
    column = w[:, None]
    place = labels.index(term) + 1
    full = fit_logistic_batch(z, outcome, column)
    if not full.converged[0]:
        return float("nan"), float("nan")
    top, information = curvature_batch(z, outcome, full.coefficients, column)
    covariance = inverse(information[:, :, 0])
    middle = float(full.coefficients[place, 0])
    error = float(np.sqrt(covariance[place, place]))
    rest = np.arange(z.shape[1]) != place
    others = np.asfortranarray(z[:, rest])
    slopes = covariance[rest, place] / covariance[place, place]

    def drop(value: float) -> tuple[float, float]:
        start = full.coefficients[rest, 0] + slopes * (value - middle)
        offset = z[:, place] * value
        held = fit_logistic_batch(others, outcome, column, start=start, offset=offset)
        if not held.converged[0]:
            return float("nan"), float("nan")
        beta = held.coefficients
        height, _ = curvature_batch(others, outcome, beta, column, offset=offset)
        risks = fitted_risks(others @ beta[:, 0] + offset)
        slope = float(z[:, place] @ (w * (outcome - risks)))
        return 2 * float(top[0] - height[0]), -2 * slope

    low, high = (
        profile_limit(drop, middle, first_guess=middle + sign * error, root_target=root_target)
        for sign in (-root_target, root_target)
    )
    unit = float(back[place, place])
    return unit * low, unit * high
