"""Standardised incidence from two Cox models, and the influence of each cluster on it.

The influence is the derivative in a row's weight: through the average over rows, through the
coefficients and through both baseline hazards. Its squares, summed by cluster, are the
infinitesimal jackknife variance (Efron B. The jackknife, the bootstrap and other resampling
plans. SIAM 1982, chapter 6).
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from analysis.cause_models import CauseModel, DayGrid, day_grid, fitted_hazards
from analysis.kernels.cause_specific import (
    RowIncidence,
    competing_derivative,
    event_derivative,
    row_incidence,
)
from analysis.kernels.cox_influence import score_residuals
from analysis.kernels.cox_likelihood import RiskSums, risk_sums
from analysis.kernels.cox_slots import on_all_slots, sums_while_at_risk


def standardised_risks(
    event: CauseModel, competing: CauseModel | None, days: FloatArray
) -> FloatArray:
    """Average the incidence of all rows under each arm by each day, shape (arms, days)."""
    grid = day_grid(event, competing, days)
    shares = row_shares(event)
    rows = _predicted(grid, event, competing)
    return np.array([[_average(arm, shares, day) for day in grid.asked] for arm in rows])


def influence_by_cluster(
    event: CauseModel, competing: CauseModel | None, days: FloatArray
) -> FloatArray:
    """Influence of each cluster (of each row, without clusters), shape (clusters, arms, days)."""
    grid = day_grid(event, competing, days)
    shares = row_shares(event)
    sources = [(_source(event), event_derivative)]
    if competing is not None:
        sources.append((_source(competing), competing_derivative))
    out = np.zeros((len(shares), len(event.arms), len(days)))
    for arm, rows in enumerate(_predicted(grid, event, competing)):
        for place, day in enumerate(grid.asked):
            if day < 0:
                continue
            out[:, arm, place] = shares * (rows.incidence[:, day] - _average(rows, shares, day))
            for source, derive in sources:
                effect = shares[:, None] * derive(rows, int(day))
                out[:, arm, place] += _through_model(source, grid, effect, arm)
    return _by_cluster(event, out)


def row_shares(model: CauseModel) -> FloatArray:
    """Weight of each row in the average over rows, shape (n,)."""
    weights = model.fit.rows.weights
    if weights is None:
        return np.full(len(model.fit.rows.time), 1 / len(model.fit.rows.time))
    return weights / weights.sum()


@dataclass(frozen=True, slots=True, eq=False)
class _Source:
    """A model and its parts that do not depend on arm and day."""

    model: CauseModel
    sums: RiskSums
    scores: FloatArray  # (m, p) score residuals times the inverse information
    slot_scale: FloatArray  # (K,) from the scale of `sums` to that of the baseline hazard


def _source(model: CauseModel) -> _Source:
    fit = model.fit
    sums = risk_sums(fit.data, fit.scaled_coefficients, fit.weights_at_risk, fit.ties)
    scores = score_residuals(fit.data, sums) * fit.data.scale @ fit.covariance_model
    shift = np.repeat(sums.shift[:, 0], np.diff(fit.data.slot_bounds))
    return _Source(model, sums, scores, np.exp(-shift))


def _predicted(
    grid: DayGrid, event: CauseModel, competing: CauseModel | None
) -> tuple[RowIncidence, ...]:
    """Incidence of every row under each arm."""
    hazards = fitted_hazards(grid, event, competing)
    own = event.relative_hazards
    others = (np.ones(len(own[0])),) * len(own) if competing is None else competing.relative_hazards
    return tuple(
        row_incidence(hazards, first, second, grid.stratum)
        for first, second in zip(own, others, strict=True)
    )


def _average(rows: RowIncidence, shares: FloatArray, day: int) -> float:
    return float(shares @ rows.incidence[:, day]) if day >= 0 else 0.0


def _through_model(source: _Source, grid: DayGrid, effect: FloatArray, arm: int) -> FloatArray:
    """Influence of rows through one model's coefficients and baseline hazard, shape (n,).

    `effect` is the derivative of the standardised risk in each row's hazard on each grid day.
    """
    fit, data, sums = source.model.fit, source.model.fit.data, source.sums
    relative, terms = source.model.relative_hazards[arm], source.model.centred_arms[arm]
    by_stratum = np.zeros((grid.n_strata, len(grid.day)))
    np.add.at(by_stratum, grid.stratum, relative[:, None] * effect)
    used, place = grid.slots(data)
    pull_on_slot = np.zeros(len(data.slot_day))
    pull_on_slot[used] = by_stratum[data.slot_stratum[used], place]
    pull_on_slot *= source.slot_scale
    hazard = grid.spread(data, sums.hazard[:, 0] * source.slot_scale)[grid.stratum]
    on_beta = terms.T @ (relative * (hazard * effect).sum(axis=1))
    moved = sums.square_0 * sums.s1[:, 0] - sums.square_1 * on_all_slots(data, sums.s1_deaths)[:, 0]
    on_beta -= (pull_on_slot @ moved) * data.scale
    by_row = source.scores @ on_beta + _through_baseline(source, pull_on_slot)
    if fit.rows.weights is not None:
        by_row *= fit.rows.weights[data.rows]
    out = np.zeros(data.n_rows)
    out[data.rows] = by_row
    return out


def _through_baseline(source: _Source, pull_on_slot: FloatArray) -> FloatArray:
    """Influence through the baseline hazard at fixed coefficients, shape (m,), per unit weight."""
    data, sums = source.model.fit.data, source.sums
    met = sums_while_at_risk(data, pull_on_slot[:, None] * sums.square_0)[:, 0]
    slot = data.death_slot
    if data.tied:
        met[data.deaths] -= (pull_on_slot * sums.square_1[:, 0])[slot]
    out = -sums.relative[:, 0] * met
    out[data.deaths] += (pull_on_slot * sums.hazard[:, 0] / sums.death_weight[:, 0])[slot]
    return out


def _by_cluster(model: CauseModel, by_row: FloatArray) -> FloatArray:
    cluster = model.fit.rows.cluster
    if cluster is None:
        return by_row
    out = np.zeros((int(cluster.max()) + 1, *by_row.shape[1:]))
    np.add.at(out, cluster, by_row)
    return out
