"""The Cox kernel against a slow second implementation and against derivatives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import CoxPHFitter
from pandas import DataFrame

from analysis.concordance import harrell_concordance
from analysis.cox import expected_by_row, fit_cox
from analysis.cox_rows import CoxRows
from analysis.firth_cox import fit_firth_cox
from analysis.kernels.cox import Ties, prepare_cox
from analysis.kernels.cox_likelihood import gradient, information, risk_sums
from tests.analysis.random_rows import Rows


def slow_log_likelihood(rows: Rows, beta: np.ndarray, ties: Ties) -> float:
    """Partial likelihood by its definition, risk set by risk set (Efron 1977; Breslow 1974)."""
    total = 0.0
    eta = rows.x @ beta
    risk = rows.weights * np.exp(eta)
    dead = (rows.event == 1) & (rows.weights > 0)
    for stratum in np.unique(rows.strata):
        inside = rows.strata == stratum
        for day in np.unique(rows.time[inside & dead]):
            at_risk = inside & (rows.entry < day) & (rows.time >= day)
            deaths = inside & dead & (rows.time == day)
            count, weight = int(deaths.sum()), rows.weights[deaths]
            total += float(weight @ eta[deaths])
            for rank in range(count):
                taken = rank / count * risk[deaths].sum() if ties == "efron" else 0.0
                total -= weight.mean() * np.log(risk[at_risk].sum() - taken)
    return total


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), ties=st.sampled_from(["efron", "breslow"]))
def test_likelihood_is_that_of_the_definition(seed: int, ties: Ties) -> None:
    rows = Rows(seed)
    data = prepare_cox(rows.time, rows.event == 1, rows.x, entry=rows.entry, strata=rows.strata)
    beta = np.random.default_rng(seed).normal(size=3)
    weights = rows.weights[data.rows][:, None]
    sums = risk_sums(data, (beta * data.scale)[:, None], weights, ties)
    assert sums.log_likelihood[0] == pytest.approx(slow_log_likelihood(rows, beta, ties), rel=1e-10)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), ties=st.sampled_from(["efron", "breslow"]))
def test_derivatives_are_those_of_the_likelihood(seed: int, ties: Ties) -> None:
    """Central differences of the log likelihood and of the first derivative."""
    rows = Rows(seed)
    data = prepare_cox(rows.time, rows.event == 1, rows.x, entry=rows.entry, strata=rows.strata)
    weights = rows.weights[data.rows][:, None]
    beta = np.random.default_rng(seed).normal(size=3) / 2
    step = 1e-5
    ahead, behind = (
        [risk_sums(data, (beta + sign * step * axis)[:, None], weights, ties) for axis in np.eye(3)]
        for sign in (1, -1)
    )
    here = risk_sums(data, beta[:, None], weights, ties)
    slope = [(a.log_likelihood[0] - b.log_likelihood[0]) / (2 * step)
             for a, b in zip(ahead, behind, strict=True)]  # fmt: skip
    assert gradient(data, here, weights)[:, 0] == pytest.approx(slope, rel=1e-5, abs=1e-6)
    bend = [(gradient(data, b, weights)[:, 0] - gradient(data, a, weights)[:, 0]) / (2 * step)
            for a, b in zip(ahead, behind, strict=True)]  # fmt: skip
    assert information(data, here)[0] == pytest.approx(np.array(bend), rel=1e-5, abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), ties=st.sampled_from(["efron", "breslow"]))
def test_penalised_gradient_is_that_of_the_penalised_likelihood(seed: int, ties: Ties) -> None:
    """At the top no direction climbs: differences of l + log det(information) / 2 are nil."""
    rows = Rows(seed)
    fit = fit_firth_cox(
        rows.x, rows.time, rows.event, entry=rows.entry, strata=rows.strata, ties=ties,
        limits_for=(),
    )  # fmt: skip
    assert fit.converged

    def penalised(beta: np.ndarray) -> float:
        sums = risk_sums(fit.data, (beta * fit.data.scale)[:, None], None, ties)
        return float(
            sums.log_likelihood[0] + np.linalg.slogdet(information(fit.data, sums)[0])[1] / 2
        )

    for axis in np.eye(3):
        slope = penalised(fit.coefficients + 1e-5 * axis) - penalised(
            fit.coefficients - 1e-5 * axis
        )
        assert slope / 2e-5 == pytest.approx(0.0, abs=1e-5)


def test_score_residuals_add_up_to_nothing_and_rows_alone_are_clusters() -> None:
    """Every row its own cluster: the sandwich of Lin and Wei; the influences sum to zero."""
    rows = Rows(3, n=120)
    alone = fit_cox(rows.x, rows.time, rows.event, cluster=np.arange(120))
    together = fit_cox(rows.x, rows.time, rows.event, cluster=np.zeros(120))
    assert np.abs(together.covariance).max() < 1e-18
    assert np.all(np.diag(alone.covariance) > 0)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_influences_are_derivatives_in_the_weight(ties: Ties) -> None:
    """The sandwich from jackknife influences got by moving each cluster's weight a little."""
    rows = Rows(11, n=40)
    rows.weights[:] = 1.0
    fit = fit_cox(rows.x, rows.time, rows.event, entry=rows.entry, strata=rows.strata,
                  cluster=rows.cluster, ties=ties)  # fmt: skip
    moved: list[np.ndarray] = []
    for label in np.unique(rows.cluster):
        ends: list[np.ndarray] = []
        for sign in (1, -1):
            weight = 1.0 + sign * 1e-4 * (rows.cluster == label)
            shifted = fit_cox(rows.x, rows.time, rows.event, entry=rows.entry, strata=rows.strata,
                              weights=weight, ties=ties)  # fmt: skip
            ends.append(shifted.coefficients)
        moved.append((ends[0] - ends[1]) / 2e-4)
    influence = np.array(moved)
    assert fit.covariance == pytest.approx(influence.T @ influence, rel=1e-5)


def test_expected_and_observed_events_have_the_same_sum() -> None:
    rows = Rows(13, n=150)
    fit = fit_cox(rows.x, rows.time, rows.event, entry=rows.entry, strata=rows.strata,
                  weights=rows.weights)  # fmt: skip
    weights = rows.weights[rows.weights > 0]
    assert weights @ expected_by_row(fit) == pytest.approx(weights @ fit.rows.event, rel=1e-12)


def slow_concordance(rows: Rows, score: np.ndarray) -> float:
    better = pairs = 0.0
    for i in np.flatnonzero(rows.event == 1):
        for j in range(len(score)):
            outlasts = rows.time[j] > rows.time[i] or (
                rows.time[j] == rows.time[i] and rows.event[j] == 0
            )
            if (
                j != i
                and outlasts
                and rows.strata[i] == rows.strata[j]
                and rows.entry[j] < rows.time[i]
            ):
                pairs += 1
                better += (score[i] > score[j]) + 0.5 * (score[i] == score[j])
    return better / pairs


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_concordance_counts_every_pair(seed: int) -> None:
    rows = Rows(seed)
    score = np.random.default_rng(seed).integers(0, 6, 60).astype(float)
    given_rows = CoxRows(time=rows.time, event=rows.event, x=rows.x, entry=rows.entry,
                         strata=rows.strata, weights=None, cluster=None)  # fmt: skip
    found = harrell_concordance(given_rows, score)
    assert found == pytest.approx(slow_concordance(rows, score), rel=1e-12)


def test_second_route_by_lifelines() -> None:
    """Efron, strata, no late entry; its stopping rule tightened."""
    rows = Rows(14, n=200)
    columns = dict(zip("abcteg", (*rows.x.T, rows.time, rows.event, rows.strata), strict=True))
    tight = {"precision": 1e-13, "r_precision": 1e-13}
    other = CoxPHFitter().fit(DataFrame(columns), "t", "e", strata=["g"], fit_options=tight)
    fit = fit_cox(rows.x, rows.time, rows.event, strata=rows.strata)
    assert fit.coefficients == pytest.approx(other.params_.to_numpy(), rel=1e-7)
    assert fit.std_errors == pytest.approx(other.standard_errors_.to_numpy(), rel=1e-6)
    assert fit.log_likelihood == pytest.approx(other.log_likelihood_, rel=1e-10)
