"""Climb the likelihood of a model of log time, days exact, censored or between two visits."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from analysis.arrays import FloatArray
from analysis.kernels.generalised_gamma import gamma_standard
from analysis.kernels.location_scale import STANDARDS, contributions

GENERALISED_GAMMA = "generalised_gamma"
SHAPES = (0.5, -0.5, 1.5)  # of a generalised gamma, from which to climb in turn
SHAPE_STEP = 1e-3  # of the five-point differences that give the slope by the shape
STEPS = 60
SINGULAR = 1e-12  # smallest over largest root of the information of a term that runs away
FLAT = 1e-9  # largest Newton step, in standard deviations, at which the top is reached
NUDGE = 1e-5  # step of the differences that make second derivatives


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogTimes:
    """Rows: log of both ends of the interval, and the design with the intercept first."""

    low: FloatArray  # log of the left end, minus infinity at day 0
    high: FloatArray
    exact: FloatArray
    design: FloatArray  # intercept first


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Top:
    """The top of a likelihood: its coefficients and the information there."""

    theta: FloatArray
    value: float
    information: FloatArray
    iterations: int
    converged: bool


def log_times(
    x: FloatArray, start: FloatArray, end: FloatArray
) -> tuple[LogTimes, FloatArray, FloatArray]:
    """Take logarithms of days and bring the terms to one scale."""
    centre, spread = x.mean(axis=0), x.std(axis=0)
    with np.errstate(divide="ignore"):
        low, high = np.log(start), np.log(end)
    scaled = np.column_stack([np.ones(len(x)), (x - centre) / spread])
    rows = LogTimes(low=low, high=high, exact=(start == end).astype(np.float64), design=scaled)
    return rows, centre, spread


def intercept_only(rows: LogTimes) -> LogTimes:
    """Give the rows without their terms."""
    return LogTimes(low=rows.low, high=rows.high, exact=rows.exact, design=rows.design[:, :1])


def scores_of(rows: LogTimes, distribution: str, theta: FloatArray) -> tuple[float, FloatArray]:
    """Give the log likelihood and the score of each row, shape (n, parameters).

    `theta` holds the intercept, the terms, log scale and, of a generalised gamma, its shape.
    """
    if distribution != GENERALISED_GAMMA:
        value, scores = _location_scale(rows, theta, distribution, None)
        return float(value.sum()), scores
    within, shape = theta[:-1], float(theta[-1])
    value, scores = _location_scale(rows, within, distribution, shape)
    one, two = (
        [_location_scale(rows, within, distribution, shape + sign * step)[0] for sign in (1, -1)]
        for step in (SHAPE_STEP, 2 * SHAPE_STEP)
    )
    by_shape = (8 * (one[0] - one[1]) - (two[0] - two[1])) / (12 * SHAPE_STEP)
    return float(value.sum()), np.column_stack([scores, by_shape])


def _location_scale(
    rows: LogTimes, theta: FloatArray, distribution: str, shape: float | None
) -> tuple[FloatArray, FloatArray]:
    """Give each row's log likelihood, (n,), and its slopes by all but the shape, (n, p + 2)."""
    scale = float(np.exp(theta[-1]))
    location = rows.design @ theta[:-1]
    value, by_location, by_log_scale = contributions(
        STANDARDS[distribution] if shape is None else gamma_standard(shape),
        (rows.low - location) / scale, (rows.high - location) / scale, scale, exact=rows.exact,
    )  # fmt: skip
    return value, np.column_stack([rows.design * by_location[:, None], by_log_scale])


def maximise(rows: LogTimes, distribution: str) -> Top:
    """Climb from the moments of log time, or else from one rate for all days.

    Of a generalised gamma from several shapes in turn.
    """
    starts = [_start(rows), _one_rate(rows)]
    if distribution == GENERALISED_GAMMA:
        starts = [np.append(start, shape) for start in starts for shape in SHAPES]
    found = [climb(lambda theta: scores_of(rows, distribution, theta), starts[0])]
    for other in starts[1:]:
        if not found[-1].converged:
            found.append(climb(lambda theta: scores_of(rows, distribution, theta), other))
    return found[-1]


def climb(scores_at: Callable[[FloatArray], tuple[float, FloatArray]], start: FloatArray) -> Top:
    """Climb a likelihood by BFGS, then take Newton's steps to the top.

    `scores_at` gives the log likelihood and the score of each row at some coefficients.
    """

    def downhill(theta: FloatArray) -> tuple[float, FloatArray]:
        value, scores = scores_at(theta)
        return -value, -scores.sum(axis=0)

    with np.errstate(all="ignore"):
        theta = np.asarray(minimize(downhill, start, jac=True, method="BFGS").x, dtype=np.float64)
        for iteration in range(1, STEPS + 1):
            value, scores = scores_at(theta)
            information = _information(scores_at, theta)
            if not np.isfinite(information).all():
                break
            roots = np.linalg.eigvalsh(information)
            if roots[0] <= SINGULAR * roots[-1]:
                break
            step = np.linalg.solve(information, scores.sum(axis=0))
            if np.abs(step * np.sqrt(np.diag(information))).max() < FLAT:
                return Top(theta=theta, value=value, information=information,
                            iterations=iteration, converged=True)  # fmt: skip
            theta = theta + step
    blank = np.full((len(theta), len(theta)), np.nan)
    return Top(theta=theta, value=float("nan"), information=blank, iterations=STEPS,
                converged=False)  # fmt: skip


def _information(
    scores_at: Callable[[FloatArray], tuple[float, FloatArray]], theta: FloatArray
) -> FloatArray:
    """Differentiate the score: central differences, symmetric."""
    columns: list[FloatArray] = []
    for place in range(len(theta)):
        step = np.zeros(len(theta))
        step[place] = NUDGE
        above, below = (scores_at(theta + sign * step)[1].sum(axis=0) for sign in (1, -1))
        columns.append((below - above) / (2 * NUDGE))
    found = np.column_stack(columns)
    return (found + found.T) / 2


def _one_rate(rows: LogTimes) -> FloatArray:
    """Begin at days looked at for each event: nearer the top where most days are censored."""
    low = np.exp(rows.low)
    ended = np.isfinite(rows.high)
    days = np.where(ended, (low + np.exp(np.where(ended, rows.high, 0.0))) / 2, low)
    theta = np.zeros(rows.design.shape[1] + 1)
    theta[0] = np.log(days.sum() / ended.sum())
    return theta


def _start(rows: LogTimes) -> FloatArray:
    """Begin at the mean and spread of log time, intervals taken at their middle."""
    low = np.where(np.isfinite(rows.low), rows.low, rows.high - 1)
    middle = np.where(np.isfinite(rows.high), (low + rows.high) / 2, low)
    middle = middle[np.isfinite(middle)]  # a row that left on day 0 tells nothing
    theta = np.zeros(rows.design.shape[1] + 1)
    theta[0], theta[-1] = middle.mean(), np.log(max(float(middle.std()), 0.1))
    return theta
