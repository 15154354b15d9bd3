"""Penalised Cox regression where maximum likelihood has no answer; agreement with R elsewhere."""

import numpy as np
import pytest

from analysis.cox import expected_by_row, fit_cox
from analysis.firth_cox import fit_firth_cox


def separated() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(2)
    x = np.column_stack((rng.normal(size=200), rng.random(200) < 0.3)).astype(float)
    time = rng.integers(1, 40, 200).astype(float)
    event = ((rng.random(200) < 0.3) & (x[:, 1] == 0)).astype(float)
    return x, time, event


def test_a_separated_term_has_a_finite_estimate_and_limits() -> None:
    x, time, event = separated()
    assert fit_cox(x, time, event).separated == ("x2",)
    fit = fit_firth_cox(x, time, event)
    assert fit.converged
    assert -6 < fit.coefficients[1] < -2
    assert fit.low[1] < fit.coefficients[1] < fit.high[1] < 0
    assert fit.concerns == ("penalised",)


def test_limits_are_where_the_profile_has_fallen_by_the_quantile() -> None:
    """Defining equation: twice the drop at a limit is 3.841; the test at zero is the drop there."""
    from analysis.kernels.firth_cox import maximise_penalised_cox

    x, time, event = separated()
    fit = fit_firth_cox(x, time, event)
    scale = fit.data.scale

    def drop(value: float) -> float:
        start = np.array([0.0, value * scale[1]])
        held = maximise_penalised_cox(
            fit.data, None, ties="efron", start=start, free=np.array([True, False])
        )
        top = fit.log_likelihood - np.log(scale).sum()
        return 2 * (top - held.log_likelihood)

    assert drop(fit.low[1]) == pytest.approx(3.841458820694124, rel=1e-6)
    assert drop(fit.high[1]) == pytest.approx(3.841458820694124, rel=1e-6)
    assert fit.tests[1].statistic == pytest.approx(drop(0.0), rel=1e-8)


def test_with_many_events_it_is_close_to_maximum_likelihood() -> None:
    rng = np.random.default_rng(3)
    x = rng.normal(size=(3000, 2))
    time = np.ceil(rng.exponential(100 * np.exp(-0.5 * x[:, 0])))
    penalised, plain = (fit(x, time, np.ones(3000)) for fit in (fit_firth_cox, fit_cox))
    assert penalised.coefficients == pytest.approx(plain.coefficients, abs=1e-3)
    assert penalised.std_errors == pytest.approx(plain.std_errors, rel=1e-2)


def test_unit_and_origin_of_a_term_change_nothing_else() -> None:
    x, time, event = separated()
    fit, moved = (
        fit_firth_cox(matrix, time, event)
        for matrix in (x, np.column_stack((1000 + 12 * x[:, 0], x[:, 1])))
    )
    assert moved.coefficients[0] * 12 == pytest.approx(fit.coefficients[0], rel=1e-7)
    assert moved.high[1] == pytest.approx(fit.high[1], rel=1e-7)


def test_expected_events_of_a_penalised_fit_have_the_sum_of_the_observed() -> None:
    x, time, event = separated()
    fit = fit_firth_cox(x, time, event, limits_for=())
    assert expected_by_row(fit).sum() == pytest.approx(event.sum(), rel=1e-10)
    assert np.isnan(fit.low).all()


def test_no_events_redundant_terms_and_unknown_names() -> None:
    x, time, event = separated()
    assert fit_firth_cox(x, time, 0 * event).concerns == ("no_events", "not_identified")
    doubled = fit_firth_cox(np.column_stack((x, x[:, 0])), time, event)
    assert doubled.redundant[0].name == "x3"
    assert "collinear" in doubled.concerns
    with pytest.raises(ValueError, match="limits_for must name terms of the model, got 'x9'"):
        fit_firth_cox(x, time, event, limits_for=("x9",))
