"""What estimators that do not aim at the marginal odds ratio find in studies without end.

The outcomes of an invented study are averaged out: each draw of covariates counts with the
probability of what may happen to it, so that only the draw of covariates is left to chance.
"""

from functools import cache

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, ndtr, ndtri

from analysis.arrays import FloatArray, IntArray
from tests.benchmarks.binary_studies import (
    CLINICS,
    LATENT_CORRELATION,
    LOG_ODDS_RATIO,
    covariates,
    rest,
    truth,
)

NODES, _RAW = np.polynomial.hermite_e.hermegauss(60)
WEIGHTS = _RAW / _RAW.sum()  # of a standard normal variable
MANY, ENOUGH = 400_000, 20_000  # animals


@cache
def true_values() -> dict[str, float]:
    """Give the value that each estimand has under the law of the invention."""
    found = {"log odds ratio": LOG_ODDS_RATIO, "risk difference": truth().risk_difference,
             "log risk ratio": truth().log_risk_ratio}  # fmt: skip
    found |= _of_tables() | {"log odds ratio within an animal": _within_animals()}
    return found | {"log odds ratio given the animal": _given_the_animal()}


def _drawn(animals: int) -> tuple[dict[str, FloatArray], FloatArray]:
    """Draw covariates with the risk of each knee."""
    drawn = covariates(np.random.default_rng(1), animals)
    return drawn, expit(truth().intercept + rest(drawn) + LOG_ODDS_RATIO * drawn["arm"])


def _of_tables() -> dict[str, float]:
    """Crude contrasts and those of Mantel and Haenszel by clinic, from expected cells."""
    drawn, risk = _drawn(MANY)
    code = (drawn["clinic"] * 2 + drawn["arm"]).astype(int)
    size = np.bincount(code, minlength=2 * len(CLINICS)).reshape(-1, 2)
    events = np.bincount(code, risk, 2 * len(CLINICS)).reshape(-1, 2)
    free, n = size - events, size.sum(axis=1)
    crude, none = events.sum(axis=0) / size.sum(axis=0), free.sum(axis=0) / size.sum(axis=0)
    weight = size.prod(axis=1) / n
    gaps = events[:, 1] / size[:, 1] - events[:, 0] / size[:, 0]
    for_it, against = events[:, 1] * free[:, 0] / n, free[:, 1] * events[:, 0] / n
    return {
        "crude log odds ratio": float(np.log(crude[1] * none[0] / (none[1] * crude[0]))),
        "crude risk difference": float(crude[1] - crude[0]),
        "log odds ratio within clinics": float(np.log(for_it.sum() / against.sum())),
        "risk difference within clinics": float(np.average(gaps, weights=weight)),
    }


def _pairs(animal: FloatArray) -> tuple[IntArray, IntArray]:
    """Give the places of the first and second knee of animals with two."""
    second = np.flatnonzero(animal[1:] == animal[:-1]) + 1
    return second - 1, second


def _both_happen(one: FloatArray, other: FloatArray) -> FloatArray:
    """Give the probability that both knees have the event, by quadrature of what they share."""
    shared, own = np.sqrt(LATENT_CORRELATION) * NODES, np.sqrt(1 - LATENT_CORRELATION)
    each = [ndtr((ndtri(risk)[:, None] - shared) / own) for risk in (one, other)]
    return np.asarray(each[0] * each[1] @ WEIGHTS, dtype=np.float64)


def _within_animals() -> float:
    """Of animals with one knee in each arm: the odds that the event is the new arm's alone."""
    drawn, risk = _drawn(MANY)
    first, second = _pairs(drawn["animal"])
    unlike = drawn["arm"][first] != drawn["arm"][second]
    first, second = first[unlike], second[unlike]
    both = _both_happen(risk[first], risk[second])
    alone = np.column_stack([risk[first] - both, risk[second] - both])
    new = np.column_stack([drawn["arm"][first], drawn["arm"][second]]) == 1
    return float(np.log(alone[new].sum() / alone[~new].sum()))


def _given_the_animal() -> float:
    """Coefficient of the arm where the expected likelihood of a normal intercept is largest."""
    drawn, risk = _drawn(ENOUGH)
    clinic = drawn["clinic"][:, None] == np.arange(1, len(CLINICS))
    x = np.column_stack([np.ones(len(risk)), drawn["arm"], drawn["grade"] - 3,
                         drawn["log_weight"] - 1.8, clinic])  # fmt: skip
    first, second = _pairs(drawn["animal"])
    single = np.setdiff1d(np.arange(len(risk)), np.concatenate([first, second]))
    both = _both_happen(risk[first], risk[second])

    def lost(parameters: FloatArray) -> float:
        seen = expit((x @ parameters[:-1])[:, None] + parameters[-1] * NODES)
        mean = seen @ WEIGHTS
        joint = (seen[first] * seen[second]) @ WEIGHTS
        patterns = [
            (risk[single], mean[single]), (1 - risk[single], 1 - mean[single]), (both, joint),
            (risk[first] - both, mean[first] - joint), (risk[second] - both, mean[second] - joint),
            (1 - risk[first] - risk[second] + both, 1 - mean[first] - mean[second] + joint),
        ]  # fmt: skip
        return -float(sum(true @ np.log(likelihood) for true, likelihood in patterns)) / len(risk)

    start = np.zeros(x.shape[1] + 1)
    start[0], start[1], start[-1] = truth().intercept, LOG_ODDS_RATIO, 1.0
    found = minimize(lost, start, method="BFGS", options={"gtol": 1e-6})
    return float(found.x[1])
