"""How much a model flatters itself: bootstrap samples of clusters, refitted and tried on all."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, finite_matrix, non_negative, zero_one
from analysis.bootstrap import cluster_multiplicities
from analysis.discrimination import weighted_area
from analysis.kernels.logistic import fit_logistic_batch, fitted_risks
from analysis.refit import refit
from analysis.scaling import scaled_design

CLOSE_ENOUGH = 1e-5  # of a Newton step: the error left is about its square


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """A measure in the model's own rows, what it flatters, and what is left."""

    apparent: float
    optimism: float

    @property
    def corrected(self) -> float:
        """What to expect in rows like these."""
        return self.apparent - self.optimism


@dataclass(frozen=True, slots=True, kw_only=True)
class Optimism:
    """Optimism of three measures; `slope` is the shrinkage that the risks would need."""

    concordance: Corrected
    brier: Corrected
    slope: Corrected
    n_samples: int
    n_failed: int  # samples without a fit, left out


def bootstrap_optimism(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    cluster: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    penalised: bool = False,
    replicates: int = 500,
    seed: int,
) -> Optimism | None:
    """Correct c-statistic, Brier score and calibration slope for optimism [1]_.

    Parameters
    ----------
    x, y, weights
        As for ``fit_logistic``; weights are taken as known.
    cluster
        Label of each row's cluster, shape (n,): whole clusters are drawn.
    penalised
        Whether the model, and each refit, is Firth's.

    Returns
    -------
    Optimism or None
        Optimism is the mean, over samples, of a measure in the sample less that of the same
        coefficients in all rows. None where the model of all rows, or all samples, has no fit.

    Raises
    ------
    ValueError
        If shapes differ or a value is missing.

    References
    ----------
    .. [1] Harrell FE, Lee KL, Mark DB. Stat Med 1996;15:361-387.
    """
    samples = cluster_multiplicities(cluster, replicates=replicates, seed=seed)
    return optimism_of(x, y, samples, weights=weights, penalised=penalised)


def optimism_of(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    samples: Iterable[FloatArray],
    *,
    weights: npt.ArrayLike | None = None,
    penalised: bool = False,
) -> Optimism | None:
    """Give the optimism over given samples: how often each row counts, shape (n, B) at a time."""
    matrix = finite_matrix(x, "x")
    n = len(matrix)
    outcome = zero_one(y, "y", rows=n)
    base = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    full = refit(matrix, outcome, base[:, None], penalised=penalised)[:, 0]
    if not np.isfinite(full).all():
        return None
    gaps: list[FloatArray] = []
    total = 0
    for counts in samples:
        drawn = base[:, None] * counts
        total += counts.shape[1]
        beta = refit(matrix, outcome, drawn, penalised=penalised, start=full,
                     tolerance=CLOSE_ENOUGH)  # fmt: skip
        fitted = np.isfinite(beta).all(axis=0)
        for column in np.flatnonzero(fitted):
            linear = beta[0, column] + matrix @ beta[1:, column]
            inside = _measures(linear, outcome, drawn[:, column])
            gaps.append(inside - _measures(linear, outcome, base))
    known = [gap for gap in gaps if np.isfinite(gap).all()]
    if not known:
        return None
    apparent = _measures(full[0] + matrix @ full[1:], outcome, base)
    return _optimism(apparent, np.mean(known, axis=0), (total, total - len(known)))


def _measures(linear: FloatArray, y: FloatArray, weights: FloatArray) -> FloatArray:
    """Give c-statistic, Brier score and calibration slope, shape (3,)."""
    risk = fitted_risks(linear.copy())
    brier = float(weights @ (risk - y) ** 2 / weights.sum())
    return np.array([weighted_area(linear, y, weights), brier, _slope(linear, y, weights)])


def _slope(linear: FloatArray, y: FloatArray, weights: FloatArray) -> float:
    if np.ptp(linear) < 1e-12:
        return float("nan")
    z, back = scaled_design(linear[:, None])
    fit = fit_logistic_batch(z, y, weights[:, None], tolerance=CLOSE_ENOUGH)
    return float((back @ fit.coefficients[:, 0])[1])


def _optimism(apparent: FloatArray, optimism: FloatArray, counts: tuple[int, int]) -> Optimism:
    concordance, brier, slope = (
        Corrected(apparent=float(value), optimism=float(gap))
        for value, gap in zip(apparent, optimism, strict=True)
    )
    return Optimism(
        concordance=concordance, brier=brier, slope=slope, n_samples=counts[0], n_failed=counts[1]
    )
