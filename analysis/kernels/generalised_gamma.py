"""The generalised gamma distribution of log time: Weibull and log-normal are two of its shapes.

With w = (log t - location) / scale and shape q, exp(q w) / q^2 is gamma distributed with 1 / q^2 as
its own shape: q = 1 is the Weibull, q = 0 the log-normal, q = scale the gamma distribution.
"""

import numpy as np
from scipy.special import gammainc, gammaincc, gammaln

from analysis.arrays import FloatArray
from analysis.kernels.location_scale import LOG_ROOT_TWO_PI, STANDARDS, Standard

NORMAL = 1e-6  # shapes nearer to nil than this are taken as log-normal
LARGE = 1e3  # from here on the gamma function is its asymptotic series
SMALL = 1e-2  # below this exp(z) - 1 - z is a power series
LEAST = 1e-300


def gamma_standard(shape: float) -> Standard:
    """Give the distribution of w for a shape, by Prentice's parameters.

    References
    ----------
    .. [1] Prentice RL. Biometrika 1974;61:539-544.
    """
    if abs(shape) < NORMAL:
        return STANDARDS["lognormal"]
    own = shape**-2.0

    def log_density(w: FloatArray) -> tuple[FloatArray, FloatArray]:
        value = -LOG_ROOT_TWO_PI - _beyond_stirling(own) - own * _bend(shape * w)
        return value, -np.expm1(shape * w) / shape

    def log_survival(w: FloatArray) -> tuple[FloatArray, FloatArray]:
        tail = gammaincc if shape > 0 else gammainc
        with np.errstate(over="ignore"):
            value = np.log(np.maximum(tail(own, own * np.exp(shape * w)), LEAST))
        return value, -np.exp(log_density(w)[0] - value)

    return Standard(log_density=log_density, log_survival=log_survival)


def _beyond_stirling(a: float) -> float:
    """Log gamma of `a` less Stirling's formula."""
    if a < LARGE:
        return float(gammaln(a) - ((a - 0.5) * np.log(a) - a + LOG_ROOT_TWO_PI))
    return 1 / (12 * a) - 1 / (360 * a**3) + 1 / (1260 * a**5)


def _bend(z: FloatArray) -> FloatArray:
    """Give exp(z) - 1 - z without losing the digits of a small z."""
    series = z**2 / 2 * (1 + z / 3 * (1 + z / 4 * (1 + z / 5 * (1 + z / 6 * (1 + z / 7)))))
    return np.where(np.abs(z) < SMALL, series, np.expm1(z) - z)
