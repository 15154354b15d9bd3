"""Cox model by Newton's method for many weight vectors at once (bootstrap, jackknife, simulation).

Numbers agree with R's ``coxph`` for weights, strata, late entry and both ways of ties. A bootstrap
by weights is not the same as one by copied rows under Efron's ties: copies would be ties.
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray
from analysis.kernels.cox_data import CoxData, prepare_cox
from analysis.kernels.cox_likelihood import (
    Ties,
    expected_weights,
    gradient,
    information,
    pairs_of_terms,
    risk_sums,
)

__all__ = ["CoxBatch", "CoxData", "Ties", "fit_cox_batch", "prepare_cox"]

MOST_STEPS = 30
CACHE_BYTES = 1_000_000  # rows times weight vectors that stay in the processor's cache
LARGEST_PAIRS = 30_000_000  # numbers: products of terms that are kept for a batch
STEP_TOLERANCE = 1e-9
LARGEST_EFFECT = 30.0  # log hazard ratio per standard deviation beyond which a fit has run away


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoxBatch:
    """One fit per weight vector; where `converged` is false the numbers are those of the last step.

    Attributes
    ----------
    beta
        Log hazard ratios, shape (p, B), in the units of the terms.
    log_likelihood
        Shape (B,).
    information
        Minus the second derivative, shape (p, p, B).
    converged
        Shape (B,): the last step was below the tolerance.
    last_step
        Shape (p, B), in standard deviations of each term.
    iterations
        Steps that the slowest fit took.
    """

    beta: FloatArray
    log_likelihood: FloatArray
    information: FloatArray
    converged: BoolArray
    last_step: FloatArray
    iterations: int


def fit_cox_batch(
    data: CoxData,
    weights: FloatArray | None = None,
    *,
    ties: Ties = "efron",
    start: FloatArray | None = None,
    tolerance: float = STEP_TOLERANCE,
) -> CoxBatch:
    """Fit the model once per weight vector.

    Parameters
    ----------
    data
        What ``prepare_cox`` made; n rows of the input, p terms.
    weights
        Shape (n, B), not negative, in the order of the input; None: one fit, all weights 1.
    start
        Coefficients to start from, shape (p,).
    tolerance
        Largest step, in standard deviations of a term, at which a fit has converged. Newton's
        method is quadratic: 1e-5 leaves an error of about 1e-10, and an information matrix that
        is off by about 1e-5 of itself.
    """
    if weights is None:
        return _fit_chunk(data, None, ties=ties, start=start, tolerance=tolerance)
    used = np.ascontiguousarray(weights, np.float64)
    width = max(1, min(256, CACHE_BYTES // (8 * max(len(data.rows), 1))))
    few = data.x.shape[0] * data.x.shape[1] ** 2 <= LARGEST_PAIRS
    pairs = pairs_of_terms(data) if few else None
    parts = [
        _fit_chunk(data, used[data.rows, low : low + width],
                   ties=ties, start=start, tolerance=tolerance, pairs=pairs)
        for low in range(0, used.shape[1], width)
    ]  # fmt: skip
    return CoxBatch(
        beta=np.concatenate([part.beta for part in parts], axis=1),
        log_likelihood=np.concatenate([part.log_likelihood for part in parts]),
        information=np.concatenate([part.information for part in parts], axis=2),
        converged=np.concatenate([part.converged for part in parts]),
        last_step=np.concatenate([part.last_step for part in parts], axis=1),
        iterations=max(part.iterations for part in parts),
    )


def _fit_chunk(
    data: CoxData,
    weights: FloatArray | None,
    *,
    ties: Ties,
    start: FloatArray | None,
    tolerance: float,
    pairs: FloatArray | None = None,
) -> CoxBatch:
    """Step all fits of a chunk together; one that has converged is left alone."""
    terms, fits = data.x.shape[1], 1 if weights is None else weights.shape[1]
    origin = np.zeros((terms, fits))  # the best point so far
    if start is not None:
        origin += (start * data.scale)[:, None]
    beta, step = origin.copy(), np.zeros_like(origin)
    best, share = np.full(fits, -np.inf), np.ones(fits)
    second = np.full((fits, terms, terms), np.nan)
    converged = np.zeros(fits, bool)
    active, taken = np.arange(fits), 0
    while len(active) and taken < MOST_STEPS:
        taken += 1
        chosen = weights if weights is None or len(active) == fits else weights[:, active]
        sums = risk_sums(data, beta[:, active], chosen, ties)
        worse = sums.log_likelihood < best[active] - 1e-9 * np.abs(best[active])
        better = active[~worse]
        share[active[worse]] /= 2
        share[better], origin[:, better] = 1.0, beta[:, better]
        best[better] = sums.log_likelihood[~worse]
        rows = expected_weights(data, sums)
        second[better] = information(data, sums, row_weights=rows, pairs=pairs)[~worse]
        first = gradient(data, sums, chosen, row_weights=rows)[:, ~worse]
        step[:, better] = _solve(second[better], first)
        beta[:, active] = origin[:, active] + share[active] * step[:, active]
        small = (np.abs(step[:, active]) <= tolerance).all(axis=0)
        converged[active[small]] = True
        possible = (np.abs(beta[:, active]) <= LARGEST_EFFECT).all(axis=0)
        active = active[~small & possible]
    return _in_units(data, beta, best, second, converged, step, taken)


def _solve(second: FloatArray, first: FloatArray) -> FloatArray:
    """Newton steps, shape (p, B); NaN where the information is singular."""
    try:
        return np.asarray(np.linalg.solve(second, first.T[:, :, None])[:, :, 0].T, np.float64)
    except np.linalg.LinAlgError:
        return np.column_stack([_solve_one(one, first[:, k]) for k, one in enumerate(second)])


def _solve_one(second: FloatArray, first: FloatArray) -> FloatArray:
    try:
        return np.asarray(np.linalg.solve(second, first), np.float64)
    except np.linalg.LinAlgError:
        return np.full_like(first, np.nan)


def _in_units(
    data: CoxData,
    beta: FloatArray,
    log_likelihood: FloatArray,
    second: FloatArray,
    converged: BoolArray,
    step: FloatArray,
    taken: int,
) -> CoxBatch:
    """Bring coefficients and information back to the units of the terms."""
    scale = data.scale[:, None]
    return CoxBatch(
        beta=beta / scale,
        log_likelihood=log_likelihood,
        information=(second * scale * data.scale).transpose(1, 2, 0),
        converged=converged,
        last_step=step,
        iterations=taken,
    )
