"""What each row contributes to a fitted Cox model: score residuals and expected events."""

import numpy as np

from analysis.arrays import FloatArray
from analysis.kernels.cox_data import CoxData
from analysis.kernels.cox_likelihood import RiskSums
from analysis.kernels.cox_slots import on_all_slots, sums_while_at_risk


def score_residuals(data: CoxData, sums: RiskSums) -> FloatArray:
    """Contribution of each row to the first derivative, shape (m, p), per unit of weight.

    For one weight vector, in the units of ``data.x``. Lin DY, Wei LJ. J Am Stat Assoc
    1989;84:1074-1078, with Efron's ties as R's ``residuals(type = "score")``.
    """
    hazard, tied = sums.hazard, sums.hazard_tied
    s1, s1_deaths = sums.s1[:, 0], on_all_slots(data, sums.s1_deaths)[:, 0]
    pull = sums.square_0 * s1 - sums.square_1 * s1_deaths
    cumulated = sums_while_at_risk(data, hazard)
    out = sums_while_at_risk(data, pull)
    slot = data.death_slot
    if data.tied:
        cumulated[data.deaths] -= tied[slot]
    # einsum: a product along rows of few terms at half the time
    out -= np.einsum("mp,m->mp", data.x, cumulated[:, 0])
    out *= sums.relative
    mean = (hazard * s1 - tied * s1_deaths) / np.where(sums.death_weight > 0, sums.death_weight, 1)
    own = data.x_of_deaths() - mean.take(slot, axis=0)
    if data.tied:
        shared = sums.square_1 * s1 - sums.square_2 * s1_deaths
        own -= sums.relative.take(data.deaths, axis=0) * shared.take(slot, axis=0)
    out[data.deaths] += own
    return out


def expected_events(data: CoxData, sums: RiskSums) -> FloatArray:
    """Cumulated hazard over each row's own follow-up, shape (m,), per unit of weight.

    With Efron's ties a tied death counts a part of its own slot, so that the expected events of
    all rows add up to the observed ones.
    """
    cumulated = sums_while_at_risk(data, sums.hazard)[:, 0]
    if data.tied:
        cumulated[data.deaths] -= sums.hazard_tied[data.death_slot, 0]
    return cumulated * sums.relative[:, 0]


def hazard_steps(data: CoxData, sums: RiskSums) -> FloatArray:
    """Step of the baseline hazard at each slot, shape (K, B), all terms at their centre."""
    stratum_slots = np.diff(data.slot_bounds)
    return sums.hazard * np.exp(-np.repeat(sums.shift, stratum_slots, axis=0))
