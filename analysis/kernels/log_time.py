"""Climb the likelihood of a model of log time, days exact, censored or between two visits."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from analysis.arrays import FloatArray
from analysis.kernels.location_scale import STANDARDS, contributions

STEPS = 60
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
    """The top of a likelihood: coefficients, log scale last, and the information there."""

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
    """Give the log likelihood and the score of each row, shape (n, p + 2)."""
    scale = float(np.exp(theta[-1]))
    location = rows.design @ theta[:-1]
    value, by_location, by_log_scale = contributions(
        STANDARDS[distribution], (rows.low - location) / scale, (rows.high - location) / scale,
        scale, exact=rows.exact,
    )  # fmt: skip
    return float(value.sum()), np.column_stack([rows.design * by_location[:, None], by_log_scale])


def _information(rows: LogTimes, distribution: str, theta: FloatArray) -> FloatArray:
    """Differentiate the score: central differences, symmetric."""
    columns: list[FloatArray] = []
    for place in range(len(theta)):
        step = np.zeros(len(theta))
        step[place] = NUDGE
        above, below = (
            scores_of(rows, distribution, theta + sign * step)[1].sum(axis=0) for sign in (1, -1)
        )
        columns.append((below - above) / (2 * NUDGE))
    found = np.column_stack(columns)
    return (found + found.T) / 2


def maximise(rows: LogTimes, distribution: str) -> Top:
    """Climb by BFGS from the moments of log time, then take Newton's steps to the top."""

    def downhill(theta: FloatArray) -> tuple[float, FloatArray]:
        value, scores = scores_of(rows, distribution, theta)
        return -value, -scores.sum(axis=0)

    with np.errstate(all="ignore"):
        theta = np.asarray(
            minimize(downhill, _start(rows), jac=True, method="BFGS").x, dtype=np.float64
        )
        for iteration in range(1, STEPS + 1):
            value, scores = scores_of(rows, distribution, theta)
            information = _information(rows, distribution, theta)
            if not np.isfinite(information).all() or np.linalg.eigvalsh(information)[0] <= 0:
                break
            step = np.linalg.solve(information, scores.sum(axis=0))
            if np.abs(step * np.sqrt(np.diag(information))).max() < FLAT:
                return Top(theta=theta, value=value, information=information,
                            iterations=iteration, converged=True)  # fmt: skip
            theta = theta + step
    blank = np.full((len(theta), len(theta)), np.nan)
    return Top(theta=theta, value=float("nan"), information=blank, iterations=STEPS,
                converged=False)  # fmt: skip


def _start(rows: LogTimes) -> FloatArray:
    """Begin at the mean and spread of log time, intervals taken at their middle."""
    low = np.where(np.isfinite(rows.low), rows.low, rows.high - 1)
    middle = np.where(np.isfinite(rows.high), (low + rows.high) / 2, low)
    theta = np.zeros(rows.design.shape[1] + 1)
    theta[0], theta[-1] = middle.mean(), np.log(max(float(middle.std()), 0.1))
    return theta
