"""Tests of each term of a logistic model, all its columns at once: what is lost without it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, finite_matrix, non_negative, zero_one
from analysis.chi_square import NO_TEST, Test, chi_square_test
from analysis.kernels.firth import maximise_penalised
from analysis.kernels.logistic import curvature_batch, fit_logistic_batch, fitted_risks
from analysis.scaling import scaled_design

Terms = Mapping[str, Sequence[int]]  # columns of x that are one term, by its name


@dataclass(frozen=True, slots=True, kw_only=True)
class DroppedTerm:
    """Both tests of one term; NaN where the model without it, or with it, has no maximum."""

    likelihood_ratio: Test
    score: Test


def drop_each(
    x: npt.ArrayLike, y: npt.ArrayLike, terms: Terms, *, weights: npt.ArrayLike | None = None
) -> dict[str, DroppedTerm]:
    """Test each term by the likelihood ratio and by Rao's score at the model without it.

    Parameters
    ----------
    x, y, weights
        As in ``fit_logistic``; a design without redundant columns.
    terms
        The columns of each term: all of a factor with several levels, all of a spline.

    Notes
    -----
    Rows are taken as independent. The score test needs no fit with the term: it stands also where
    the term separates. R: ``drop1(fit, test = "LRT")``, ``drop1(fit, test = "Rao")``.

    References
    ----------
    .. [1] Rao CR. Proc Camb Phil Soc 1948;44:50-57.
    .. [2] Hosmer DW, Lemeshow S. Applied Logistic Regression, 2nd ed. Wiley 2000, section 2.4.
    """
    z, outcome, w = _checked(x, y, weights)
    full = fit_logistic_batch(z, outcome, w[:, None])
    height = float("nan")
    if full.converged[0]:
        height = float(curvature_batch(z, outcome, full.coefficients, w[:, None])[0][0])
    return {name: _dropped(z, outcome, w, places, height) for name, places in terms.items()}


def drop_each_penalised(
    x: npt.ArrayLike, y: npt.ArrayLike, terms: Terms, *, weights: npt.ArrayLike | None = None
) -> dict[str, Test]:
    """Test each term by Firth's penalised likelihood ratio, its coefficients held at nil.

    The penalty is that of the whole design [1]_, as in ``fit_firth``. NaN where a climb failed.

    References
    ----------
    .. [1] Heinze G, Schemper M. Stat Med 2002;21:2409-2419.
    """
    z, outcome, w = _checked(x, y, weights)
    start = np.zeros(z.shape[1])
    share = float(np.average(outcome, weights=w))
    start[0] = np.log(share / (1 - share))
    every = np.ones(z.shape[1], dtype=np.bool_)
    top = maximise_penalised(z, outcome, w, start=start, free=every)
    found: dict[str, Test] = {}
    for name, places in terms.items():
        free = every.copy()
        free[_behind(places)] = False
        held = maximise_penalised(z, outcome, w, start=start, free=free)
        fallen = 2 * (top.log_likelihood - held.log_likelihood)
        both = top.converged and held.converged
        found[name] = chi_square_test(fallen, len(places)) if both else NO_TEST
    return found


def _checked(
    x: npt.ArrayLike, y: npt.ArrayLike, weights: npt.ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give the scaled design with its intercept, outcome and weights of the rows that count."""
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    if not 0 < outcome.sum() < len(outcome):
        raise ValueError("y must hold both outcomes")
    w = np.ones(len(matrix))
    if weights is not None:
        w = non_negative(weights, "weights", rows=len(matrix))
    used = w > 0
    return scaled_design(matrix[used])[0], outcome[used], w[used]


def _behind(places: Sequence[int]) -> list[int]:
    """Give the places in the design with its intercept in front."""
    return [place + 1 for place in places]


def _dropped(
    z: FloatArray, y: FloatArray, w: FloatArray, places: Sequence[int], height: float
) -> DroppedTerm:
    stays = np.delete(np.arange(z.shape[1]), _behind(places))
    without = fit_logistic_batch(np.asfortranarray(z[:, stays]), y, w[:, None])
    if not without.converged[0]:
        return DroppedTerm(likelihood_ratio=NO_TEST, score=NO_TEST)
    beta = np.zeros((z.shape[1], 1))
    beta[stays, 0] = without.coefficients[:, 0]
    log_likelihood, information = curvature_batch(z, y, beta, w[:, None])
    gradient = z.T @ (w * (y - fitted_risks(z @ beta[:, 0])))
    score = float(gradient @ np.linalg.solve(information[:, :, 0], gradient))
    return DroppedTerm(
        likelihood_ratio=chi_square_test(2 * (height - float(log_likelihood[0])), len(places)),
        score=chi_square_test(score, len(places)),
    )
