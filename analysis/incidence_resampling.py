"""Cluster bootstrap of standardised incidence: both models refitted in batches of weights."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray
from analysis.cause_models import CauseModel, DayGrid, day_grid
from analysis.kernels.cause_specific import Hazards, mean_incidence, row_incidence
from analysis.kernels.cox import fit_cox_batch
from analysis.kernels.cox_influence import hazard_steps
from analysis.kernels.cox_likelihood import risk_sums

CHUNK = 50  # samples to a seed; never to be derived from the machine
STEP_TOLERANCE = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Replicates:
    """Standardised risks of the bootstrap samples that gave numbers."""

    values: FloatArray  # (samples, arms, days)
    separated: int  # samples in which a term ran to infinity: its limit is used
    failed: int  # samples without a number


def resample_incidence(
    event: CauseModel,
    competing: CauseModel | None,
    *,
    days: FloatArray,
    refits: int,
    seed: int,
) -> Replicates:
    """Draw clusters with replacement, as weights, and standardise anew in each sample.

    Weights are the sounder bootstrap for Efron's ties: copied rows would be ties that are none.
    """
    rows = event.fit.rows
    cluster = np.arange(len(rows.time)) if rows.cluster is None else rows.cluster
    grid = day_grid(event, competing, days)
    starts = range(0, refits, CHUNK)
    seeds = np.random.SeedSequence(seed).spawn(len(starts))
    parts: list[FloatArray] = []
    separated = 0
    for low, child in zip(starts, seeds, strict=True):
        weights = _draw(cluster, min(CHUNK, refits - low), np.random.default_rng(child))
        if rows.weights is not None:
            weights *= rows.weights[:, None]
        values, ran_away = _refit(grid, event, competing, weights)
        parts.append(values)
        separated += ran_away
    values = np.concatenate(parts)
    good = np.isfinite(values).all(axis=(1, 2))
    return Replicates(values=values[good], separated=separated, failed=int((~good).sum()))


def _draw(cluster: IntArray, samples: int, rng: np.random.Generator) -> FloatArray:
    """How often each row's cluster is drawn, shape (n, samples)."""
    present, code = np.unique(cluster, return_inverse=True)
    share = np.full(len(present), 1 / len(present))
    times = rng.multinomial(len(present), share, size=samples)
    return times.T[code].astype(np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class _Refitted:
    risks: tuple[FloatArray, ...]  # (n, B) of each arm
    steps: FloatArray  # (strata, T, B)
    converged: BoolArray  # (B,)


def _refit(
    grid: DayGrid, event: CauseModel, competing: CauseModel | None, weights: FloatArray
) -> tuple[FloatArray, int]:
    """Standardised risks of each sample, (B, arms, days), and how many ran away."""
    own = _refit_model(grid, event, weights)
    other = None if competing is None else _refit_model(grid, competing, weights)
    out = np.full((weights.shape[1], len(own.risks), len(grid.asked)), np.nan)
    with np.errstate(over="ignore", invalid="ignore"):
        for sample in range(weights.shape[1]):
            for arm in range(len(own.risks)):
                out[sample, arm] = _standardise(grid, own, other, weights, (sample, arm))
    steady = own.converged if other is None else own.converged & other.converged
    return out, int((~steady).sum())


def _refit_model(grid: DayGrid, model: CauseModel, weights: FloatArray) -> _Refitted:
    fit, data = model.fit, model.fit.data
    with np.errstate(over="ignore", invalid="ignore"):
        batch = fit_cox_batch(
            data, weights, ties=fit.ties, start=fit.coefficients, tolerance=STEP_TOLERANCE
        )
        sums = risk_sums(data, batch.beta * data.scale[:, None], weights[data.rows], fit.ties)
        steps = grid.spread(data, hazard_steps(data, sums))
        risks = tuple(np.exp(terms @ batch.beta) for terms in model.centred_arms)
    return _Refitted(risks, steps, batch.converged)


def _standardise(
    grid: DayGrid,
    own: _Refitted,
    other: _Refitted | None,
    weights: FloatArray,
    place: tuple[int, int],
) -> FloatArray:
    """Weighted mean incidence of one sample and arm by the days asked for."""
    sample, arm = place
    steps = own.steps[:, :, sample]
    hazards = Hazards(
        event=steps, competing=np.zeros_like(steps) if other is None else other.steps[:, :, sample]
    )
    first = own.risks[arm][:, sample]
    second = np.ones_like(first) if other is None else other.risks[arm][:, sample]
    weight = weights[:, sample]
    if grid.n_strata == 1:
        return mean_incidence(hazards, first, second, weights=weight, places=grid.asked)
    by_row = row_incidence(hazards, first, second, grid.stratum).incidence
    return np.concatenate(([0.0], weight @ by_row / weight.sum()))[grid.asked + 1]
