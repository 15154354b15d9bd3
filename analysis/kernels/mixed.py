"""Maximise the marginal likelihood of a logistic model with a random intercept."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from analysis.kernels.logistic import fitted_risks
from analysis.kernels.quadrature import MarginalPoint, MixedRows, marginal_point

MAX_STEPS = 80
HALVINGS = 30
LARGEST_SPREAD = 10.0  # of the log odds; a search that goes beyond has no top
TOLERANCE = 1e-9  # of a step, in units of a standardised variable


@dataclass(frozen=True, slots=True, eq=False)
class MarginalTop:
    """Coefficients and spread at the top, and the likelihood there."""

    beta: FloatArray  # (p,)
    spread: float
    point: MarginalPoint
    converged: bool


def clusters_differ(rows: MixedRows, beta: FloatArray) -> bool:
    """Say whether the likelihood rises when intercepts begin to vary, from a fit without them.

    It does where outcomes of a cluster agree more than independent ones would: the slope against
    the variance of the intercepts, at nil, is above nil.
    """
    risk = fitted_risks(rows.z @ beta)
    together = rows.by_cluster(rows.y - risk)
    return float((together**2).sum() - (risk * (1 - risk)).sum()) > 0


def maximise_marginal(
    rows: MixedRows, beta: FloatArray, spread: float, *, points: int, held: bool = False
) -> MarginalTop:
    """Climb by Newton's method from a start; with `held` the spread stays as it is.

    Steps are halved until the likelihood rises; where it is not concave the information of the
    complete data, which always is, takes its place.
    """
    theta = np.append(beta, spread)
    free = len(beta) if held else len(theta)
    here = marginal_point(rows, theta[:-1], float(theta[-1]), points)
    for _ in range(MAX_STEPS):
        step = np.zeros_like(theta)
        step[:free] = _ascent(here.information[:free, :free], here.gradient[:free])
        step, here = _risen(rows, theta, step, (here.log_likelihood, points))
        theta = theta + step
        theta[-1] = abs(theta[-1])  # a spread and its negative are one model
        if theta[-1] > LARGEST_SPREAD or not np.isfinite(here.log_likelihood):
            break
        if np.abs(step).max() < TOLERANCE:
            return MarginalTop(theta[:-1], float(theta[-1]), here, converged=True)
    return MarginalTop(theta[:-1], float(theta[-1]), here, converged=False)


def _risen(
    rows: MixedRows, theta: FloatArray, step: FloatArray, settings: tuple[float, int]
) -> tuple[FloatArray, MarginalPoint]:
    """Halve a step until the likelihood does not fall; give it with where it leads."""
    height, points = settings
    for _ in range(HALVINGS):
        tried = theta + step
        there = marginal_point(rows, tried[:-1], abs(float(tried[-1])), points)
        if there.log_likelihood >= height - 1e-12 * abs(height):
            return step, there
        step = step / 2
    return np.zeros_like(step), marginal_point(rows, theta[:-1], float(theta[-1]), points)


def _ascent(information: FloatArray, gradient: FloatArray) -> FloatArray:
    """Solve for the step; directions that are not concave are taken by their size."""
    values, vectors = np.linalg.eigh(information)
    floor = 1e-6 * np.abs(values).max()
    step = vectors @ ((vectors.T @ gradient) / np.maximum(np.abs(values), floor))
    longest = float(np.abs(step).max())
    return step * min(1.0, 3.0 / longest) if longest else step
