"""A hundred runs of each estimator on heavily tied rows give the same bytes."""

from collections.abc import Callable

import numpy as np
import polars as pl
import pytest

from analysis.arrays import FloatArray
from analysis.bootstrap import cluster_multiplicities
from analysis.cause_models import CauseModel
from analysis.cox import fit_cox
from analysis.cox_exact import fit_cox_exact
from analysis.fine_gray import fit_fine_gray
from analysis.firth_cox import fit_firth_cox
from analysis.frailty import fit_frailty
from analysis.gray import gray_test
from analysis.incidence import aalen_johansen
from analysis.mean_count import mean_cumulative_count
from analysis.parametric import fit_parametric
from analysis.piecewise import fit_piecewise
from analysis.refit import refit
from analysis.restricted_mean import restricted_mean
from analysis.standardise_incidence import Interval, standardised_incidence
from analysis.survival import kaplan_meier, log_rank, nelson_aalen
from analysis.turnbull import turnbull
from tests.analysis.r_values import ORACLES

ALL = pl.read_csv(ORACLES / "survival_tied.csv")
WHOLE, DAYS = ALL.select("x1", "x2").to_numpy().astype(float), ALL["time"].to_numpy().astype(float)
EVENTS = ALL["state"].to_numpy() == 1
ROWS = ALL.head(120)
DAY = 28 * np.ceil(ROWS["time"].to_numpy().astype(float) / 28)  # a visit every four weeks
STATE = ROWS["state"].to_numpy()
EVENT = (STATE == 1).astype(float)
X = ROWS.select("x1", "x2").to_numpy().astype(float)
ANIMAL = ROWS["animal"].to_numpy()
RIGHT = np.where(EVENT == 1, DAY, np.inf)
INTERVALS: tuple[Interval, ...] = ("jackknife", "bootstrap")
LEFT = np.where(EVENT == 1, DAY - 28, DAY)


def standardised() -> FloatArray:
    """The jackknife's limits and the bootstrap's."""
    arms = {str(k): np.column_stack([np.full(len(X), float(k)), X[:, 1]]) for k in (0, 1)}
    models = [
        CauseModel(
            fit=fit_cox(X, DAY, cause == STATE, cluster=ANIMAL, concordance=False), arms=arms
        )
        for cause in (1, 2)
    ]
    found = [
        standardised_incidence(
            models[0], models[1], days=(56, 196), reference="0", interval=interval, refits=20
        )
        for interval in INTERVALS
    ]
    return np.array([row.low for one in found for row in (*one.risks, *one.differences)])


def resampled() -> FloatArray:
    """Twenty draws of animals."""
    drawn = next(cluster_multiplicities(ANIMAL, replicates=20, seed=1))
    return refit(X, EVENT, drawn)


ESTIMATORS: dict[str, Callable[[], FloatArray]] = {
    "Kaplan-Meier": lambda: kaplan_meier(DAY, EVENT).low,
    "Nelson-Aalen": lambda: nelson_aalen(DAY, EVENT).std_error,
    "log-rank": lambda: log_rank(DAY, EVENT, X[:, 0]).covariance,
    "restricted mean": lambda: np.array([restricted_mean(DAY, EVENT, horizon=196).std_error]),
    "Aalen-Johansen": lambda: aalen_johansen(DAY, STATE, cause=1, cluster=ANIMAL).std_error,
    "mean cumulative count": lambda: mean_cumulative_count(
        DAY, STATE, entry=0 * DAY, cluster=ANIMAL
    ).std_error,
    "Gray": lambda: np.array([gray_test(DAY, STATE, X[:, 0], cause=1).statistic]),
    "Fine-Gray": lambda: fit_fine_gray(X, DAY, STATE, cause=1, cluster=ANIMAL).covariance,
    "Cox": lambda: fit_cox(X, DAY, EVENT, cluster=ANIMAL).covariance,
    "Cox, exact ties": lambda: fit_cox_exact(X[:60], DAY[:60], EVENT[:60]).covariance,
    "frailty": lambda: fit_frailty(X[:40], DAY[:40], EVENT[:40], cluster=ANIMAL[:40]).covariance,
    "penalised Cox": lambda: fit_firth_cox(X, DAY, EVENT, limits_for=()).covariance,
    "Turnbull": lambda: turnbull(LEFT, RIGHT).mass,
    "log time": lambda: fit_parametric(X, LEFT, RIGHT, distribution="weibull").covariance,
    "piecewise exponential": lambda: fit_piecewise(
        X[:60], LEFT[:60], RIGHT[:60], cuts=(84,), cluster=ANIMAL[:60]
    ).covariance,
    "generalised gamma": lambda: fit_parametric(
        WHOLE, DAYS, np.where(EVENTS, DAYS, np.inf), distribution="generalised_gamma"
    ).covariance,
    "standardised incidence": standardised,
    "logistic, resampled": resampled,
}  # fmt: skip


@pytest.mark.parametrize("name", ESTIMATORS)
def test_a_hundred_runs_give_the_same_bytes(name: str) -> None:
    found = {ESTIMATORS[name]().tobytes() for _ in range(100)}
    assert len(found) == 1
    assert np.isfinite(ESTIMATORS[name]()).any()
