"""The Cox kernel in batches, with weights of zero, late entry, outliers, and again and again."""

import warnings

import numpy as np
import pytest

from analysis.cox import fit_cox, proportional_hazards_test
from analysis.kernels.cox import fit_cox_batch, prepare_cox
from analysis.kernels.cox_likelihood import risk_sums
from tests.analysis.random_rows import Rows


def test_batch_gives_what_single_fits_give() -> None:
    """Weight vectors with zeros, as a bootstrap draws them; some separate and say so."""
    rows = Rows(5, n=200)
    rng = np.random.default_rng(5)
    weights = rng.multinomial(200, np.full(200, 1 / 200), size=70).T.astype(float)
    data = prepare_cox(rows.time, rows.event == 1, rows.x, entry=rows.entry, strata=rows.strata)
    batch = fit_cox_batch(data, weights)
    assert batch.converged.all()
    for place in (0, 33, 69):
        one = fit_cox(rows.x, rows.time, rows.event, entry=rows.entry, strata=rows.strata,
                      weights=weights[:, place])  # fmt: skip
        assert batch.beta[:, place] == pytest.approx(one.coefficients, rel=1e-9)
        inverse = np.linalg.inv(batch.information[:, :, place])
        assert inverse == pytest.approx(one.covariance_model, rel=1e-8)


def test_a_separated_sample_does_not_disturb_its_neighbours() -> None:
    rows = Rows(6, n=100)
    rows.x[:, 1] = np.arange(100) < 20
    rows.event[:20] = 0.0
    rows.event[0] = 1.0
    weights = np.ones((100, 3))
    weights[0, 1] = 0.0  # without this row the level has no event
    data = prepare_cox(rows.time, rows.event == 1, rows.x)
    batch = fit_cox_batch(data, weights)
    assert batch.converged.tolist() == [True, False, True]
    assert batch.beta[:, 0] == pytest.approx(batch.beta[:, 2], rel=1e-12)
    assert batch.beta[1, 1] < -8


def test_deaths_of_weight_zero_count_in_no_tie() -> None:
    """Weight zero is the same as absence, with all rows tied on one day."""
    rows = Rows(7, n=80)
    rows.time[:] = 5.0
    rows.entry[:] = 0.0
    kept = rows.weights > 0
    weighted = fit_cox(rows.x, rows.time, rows.event, weights=rows.weights)
    absent = fit_cox(rows.x[kept], rows.time[kept], rows.event[kept], weights=rows.weights[kept])
    data = prepare_cox(rows.time, rows.event == 1, rows.x)
    in_batch = fit_cox_batch(data, rows.weights[:, None])
    assert weighted.coefficients == pytest.approx(absent.coefficients, rel=1e-12)
    assert in_batch.beta[:, 0] == pytest.approx(absent.coefficients, rel=1e-9)


def test_rows_that_leave_before_the_first_event_change_nothing() -> None:
    rows = Rows(8)
    late = rows.time + 10
    early = np.column_stack((np.full((9, 2), 50.0), np.zeros(9)))
    fit = fit_cox(rows.x, late, rows.event, strata=rows.strata, cluster=rows.cluster)
    more = fit_cox(
        np.vstack((rows.x, early)), np.append(late, np.full(9, 3.0)),
        np.append(rows.event, np.zeros(9)), strata=np.append(rows.strata, np.arange(9) % 3),
        cluster=np.append(rows.cluster, np.arange(9)),
    )  # fmt: skip
    assert more.coefficients == pytest.approx(fit.coefficients, rel=1e-9)
    assert more.covariance == pytest.approx(fit.covariance, rel=1e-9)


def test_a_row_is_not_at_risk_on_its_day_of_entry() -> None:
    """Entry on an event's day: at risk from the next. Two rows, solved by hand: S = {1}, {2, 3}."""
    fit = fit_cox([[0.0], [1.0], [0.0]], [1, 2, 3], [1, 1, 0], entry=[0, 1, 1], ties="breslow",
                  concordance=False)  # fmt: skip
    at_nil = fit.log_likelihood_null
    assert at_nil == pytest.approx(-np.log(1) - np.log(2))


def test_a_calendar_year_and_a_far_outlier_stay_finite() -> None:
    rows = Rows(9, n=100)
    x = np.column_stack((rows.x, 2015 + np.arange(100) % 10))
    x[0, 0] = 400.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fit = fit_cox(x, rows.time, rows.event)
        assert np.isfinite(fit.coefficients).all()
        moved = fit_cox(x + 1e6, rows.time, rows.event)
    assert moved.coefficients == pytest.approx(fit.coefficients, rel=1e-6)


def test_late_entrants_with_huge_risk_do_not_wipe_out_the_others() -> None:
    """Sums of risk sets by subtraction lose all digits here; the slots are summed anew."""
    rng = np.random.default_rng(12)
    n = 60
    x = np.concatenate((rng.normal(size=n), np.full(5, 40.0)))[:, None]
    time = np.concatenate((rng.integers(1, 20, n), np.full(5, 40.0)))
    entry = np.concatenate((np.zeros(n), np.full(5, 30.0)))
    event = np.concatenate((np.ones(n), np.zeros(5)))
    data = prepare_cox(time, event == 1, x, entry=entry)
    beta = np.array([[1.0]]) * data.scale[:, None]
    found = risk_sums(data, beta, None, "breslow").log_likelihood[0]
    alone = prepare_cox(time[:n], event[:n] == 1, x[:n])
    right = risk_sums(alone, np.array([[1.0]]) * alone.scale[:, None], None, "breslow")
    assert found == pytest.approx(right.log_likelihood[0], rel=1e-9)


def test_hundred_runs_give_the_same_bytes() -> None:
    rows = Rows(10, n=300)

    def run() -> bytes:
        fit = fit_cox(rows.x, rows.time, rows.event, entry=rows.entry, strata=rows.strata,
                      cluster=rows.cluster)  # fmt: skip
        held = proportional_hazards_test(fit).overall.statistic
        return fit.coefficients.tobytes() + fit.covariance.tobytes() + np.float64(held).tobytes()

    assert len({run() for _ in range(100)}) == 1


def test_a_death_that_sees_no_risk_takes_its_step_back() -> None:
    """At a coefficient so wild that every risk underflows, the likelihood is minus infinity."""
    x = np.array([[0.0], [800.0], [1.0], [2.0]])
    data = prepare_cox(np.array([4.0, 1.0, 2.0, 3.0]), np.array([1, 1, 1, 0]), x)
    sums = risk_sums(data, np.array([[4.0]]) * data.scale[:, None], None)
    assert sums.log_likelihood[0] == -np.inf
