"""A hundred runs of each estimator on heavily tied rows give the same bytes."""

from collections.abc import Callable

import numpy as np
import polars as pl
import pytest

from analysis.arrays import FloatArray
from analysis.cox import fit_cox
from analysis.firth_cox import fit_firth_cox
from analysis.gray import gray_test
from analysis.incidence import aalen_johansen
from analysis.parametric import fit_parametric
from analysis.restricted_mean import restricted_mean
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
LEFT = np.where(EVENT == 1, DAY - 28, DAY)

ESTIMATORS: dict[str, Callable[[], FloatArray]] = {
    "Kaplan-Meier": lambda: kaplan_meier(DAY, EVENT).low,
    "Nelson-Aalen": lambda: nelson_aalen(DAY, EVENT).std_error,
    "log-rank": lambda: log_rank(DAY, EVENT, X[:, 0]).covariance,
    "restricted mean": lambda: np.array([restricted_mean(DAY, EVENT, horizon=196).std_error]),
    "Aalen-Johansen": lambda: aalen_johansen(DAY, STATE, cause=1, cluster=ANIMAL).std_error,
    "Gray": lambda: np.array([gray_test(DAY, STATE, X[:, 0], cause=1).statistic]),
    "Cox": lambda: fit_cox(X, DAY, EVENT, cluster=ANIMAL).covariance,
    "penalised Cox": lambda: fit_firth_cox(X, DAY, EVENT, limits_for=()).covariance,
    "Turnbull": lambda: turnbull(LEFT, RIGHT).mass,
    "log time": lambda: fit_parametric(X, LEFT, RIGHT, distribution="weibull").covariance,
    "generalised gamma": lambda: fit_parametric(
        WHOLE, DAYS, np.where(EVENTS, DAYS, np.inf), distribution="generalised_gamma"
    ).covariance,
}  # fmt: skip


@pytest.mark.parametrize("name", ESTIMATORS)
def test_a_hundred_runs_give_the_same_bytes(name: str) -> None:
    found = {ESTIMATORS[name]().tobytes() for _ in range(100)}
    assert len(found) == 1
    assert np.isfinite(ESTIMATORS[name]()).any()
