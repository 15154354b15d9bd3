"""Standard distributions of log time: log density, log survival and their slopes.

With w = (log t - location) / scale: Weibull is the smallest extreme value, log-normal the normal
and log-logistic the logistic distribution of w.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import expit, log_expit, log_ndtr

from analysis.arrays import FloatArray

LOG_ROOT_TWO_PI = 0.5 * np.log(2 * np.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """Functions of w, shape (n,): each gives a value and its slope."""

    log_density: Callable[[FloatArray], tuple[FloatArray, FloatArray]]
    log_survival: Callable[[FloatArray], tuple[FloatArray, FloatArray]]


def _extreme_density(w: FloatArray) -> tuple[FloatArray, FloatArray]:
    rate = np.exp(w)
    return w - rate, 1 - rate


def _extreme_survival(w: FloatArray) -> tuple[FloatArray, FloatArray]:
    rate = np.exp(w)
    return -rate, -rate


def _normal_density(w: FloatArray) -> tuple[FloatArray, FloatArray]:
    return -0.5 * w**2 - LOG_ROOT_TWO_PI, -w


def _normal_survival(w: FloatArray) -> tuple[FloatArray, FloatArray]:
    value = log_ndtr(-w)
    return value, -np.exp(-0.5 * w**2 - LOG_ROOT_TWO_PI - value)


def _logistic_density(w: FloatArray) -> tuple[FloatArray, FloatArray]:
    return log_expit(w) + log_expit(-w), 1 - 2 * expit(w)


def _logistic_survival(w: FloatArray) -> tuple[FloatArray, FloatArray]:
    return log_expit(-w), -expit(w)


STANDARDS: Mapping[str, Standard] = {
    "weibull": Standard(log_density=_extreme_density, log_survival=_extreme_survival),
    "lognormal": Standard(log_density=_normal_density, log_survival=_normal_survival),
    "loglogistic": Standard(log_density=_logistic_density, log_survival=_logistic_survival),
}


def contributions(
    standard: Standard, low: FloatArray, high: FloatArray, scale: float, *, exact: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give each row's log likelihood and its slopes by location and by log scale, (n,) each.

    `low` and `high` are w at both ends, `high` infinite for a right-censored row and equal to
    `low` for an `exact` one, `low` minus infinity where the row starts at day 0.
    """
    seen = exact.astype(bool)
    value, by_location, by_log_scale = (np.zeros(len(low)) for _ in range(3))
    density, slope = standard.log_density(low[seen])
    value[seen] = density - np.log(scale)
    by_location[seen] = -slope / scale
    by_log_scale[seen] = -slope * low[seen] - 1
    ends = [_end(standard, w[~seen]) for w in (low, high)]
    (start, start_slope, start_w), (stop, stop_slope, stop_w) = ends
    gap = np.exp(stop - start)  # share of those still free at the start who are free at the stop
    with np.errstate(divide="ignore", invalid="ignore"):
        value[~seen] = start + np.log1p(-gap)
        down, up = start_slope / (1 - gap), stop_slope * gap / (1 - gap)
    by_location[~seen] = -(down - up) / scale
    by_log_scale[~seen] = -(down * start_w - up * stop_w)
    return value, by_location, by_log_scale


def _end(standard: Standard, w: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log survival, slope and w at one end; an end at day 0 or at infinity has no slope."""
    within = np.isfinite(w)
    safe = np.where(within, w, 0.0)
    value, slope = standard.log_survival(safe)
    outside = np.where(w > 0, -np.inf, 0.0)
    return np.where(within, value, outside), np.where(within, slope, 0.0), safe
