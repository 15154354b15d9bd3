"""Profile-likelihood limits of a logistic coefficient."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    column_names,
    finite_matrix,
    inverse,
    non_negative,
    zero_one,
)
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
    place = labels.index(term) + 1
    full = fit_logistic_batch(z, outcome, w[:, None])
    if not full.converged[0]:
        return float("nan"), float("nan")
    profile = _Profile(z, outcome, w, full.coefficients, place)
    unit, reach = float(back[place, place]), root_target * profile.std_error
    low, high = (
        profile_limit(
            profile.drop, profile.estimate, first_guess=profile.estimate + step,
            root_target=root_target,
        )
        for step in (-reach, reach)
    )  # fmt: skip
    return unit * low, unit * high


class _Profile:
    """Likelihood with one coefficient held; each refit starts on the line through the top."""

    def __init__(
        self, z: FloatArray, y: FloatArray, weights: FloatArray, beta: FloatArray, place: int
    ) -> None:
        self.y, self.weights, self.held = y, weights, z[:, place]
        top, information = curvature_batch(z, y, beta, weights[:, None])
        covariance = inverse(information[:, :, 0])
        rest = np.arange(z.shape[1]) != place
        self.others = np.asfortranarray(z[:, rest])
        self.top, self.estimate = float(top[0]), float(beta[place, 0])
        self.std_error = float(np.sqrt(covariance[place, place]))
        self.start = beta[rest, 0]
        self.slopes = covariance[rest, place] / covariance[place, place]

    def drop(self, value: float) -> tuple[float, float]:
        """Twice the drop at `value` and its derivative; NaN where the refit failed."""
        start = self.start + self.slopes * (value - self.estimate)
        offset, column = self.held * value, self.weights[:, None]
        refit = fit_logistic_batch(self.others, self.y, column, start=start, offset=offset)
        if not refit.converged[0]:
            return float("nan"), float("nan")
        beta = refit.coefficients
        height, _ = curvature_batch(self.others, self.y, beta, column, offset=offset)
        risks = fitted_risks(self.others @ beta[:, 0] + offset)
        slope = float(self.held @ (self.weights * (self.y - risks)))
        return 2 * (self.top - float(height[0])), -2 * slope
