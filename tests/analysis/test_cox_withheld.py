"""What Cox regression refuses, and what it withholds with a reason."""

import numpy as np
import pytest

from analysis.cox import fit_cox


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"event": [1, 2, 0, 1]}, "event must hold 0 and 1 only, got 2"),
        ({"time": [1.0, -2.0, 3.0, 4.0]}, "time must not be negative, got -2"),
        ({"time": [1.0, float("nan"), 3.0, 4.0]}, "time must be finite"),
        ({"entry": [0.0, 2.0, 0.0, 0.0]}, r"entry must be before time .* got 2 and 2 in row 1"),
        ({"weights": [1.0, 1.0, -1.0, 1.0]}, "weights must not be negative"),
        ({"weights": [0.0, 0.0, 0.0, 0.0]}, "weights must be above zero"),
        ({"event": [1, 0, 1]}, "event must have 4 rows, got 3"),
        ({"x": [[1.0], [float("inf")], [2.0], [0.0]]}, "x must be finite"),
        ({"cluster": ["a", "b", "c"]}, r"cluster must have shape \(4,\)"),
        ({"names": ("a", "b")}, "names must name 1 columns"),
    ],
)
def test_bad_input_is_refused_by_name(change: dict[str, object], message: str) -> None:
    good: dict[str, object] = {
        "x": [[1.0], [0.0], [2.0], [0.5]], "time": [1.0, 2.0, 3.0, 4.0], "event": [1, 1, 0, 1]
    }  # fmt: skip
    with pytest.raises(ValueError, match=message):
        fit_cox(**(good | change))  # pyright: ignore[reportArgumentType]


def separated_rows() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(4)
    x = np.column_stack(
        (rng.normal(size=240), rng.random(240) < 0.4, rng.integers(2015, 2025, 240))
    )
    time = rng.integers(1, 60, 240)
    event = (rng.random(240) < 0.3) & (x[:, 1] == 0)
    return x, time, event


def test_a_term_that_separates_in_time_gets_no_number() -> None:
    x, time, event = separated_rows()
    fit = fit_cox(x, time, event, cluster=np.arange(240) // 2, names=("a", "b", "year"))
    assert fit.separated == ("b",)
    assert "separation" in fit.concerns
    assert np.isnan(fit.coefficients[1])
    assert np.isnan(fit.std_errors[1])
    assert np.isnan(fit.wald.statistic)
    assert np.isfinite(fit.coefficients[[0, 2]]).all()


def test_other_terms_of_a_separated_fit_are_those_without_the_rows_it_frees() -> None:
    """A level without events has no hazard: the rest is the fit among the other rows."""
    x, time, event = separated_rows()
    whole = fit_cox(x, time, event, names=("a", "b", "year"))
    others = x[:, 1] == 0
    rest = fit_cox(x[others][:, [0, 2]], time[others], event[others])
    assert whole.coefficients[[0, 2]] == pytest.approx(rest.coefficients, rel=1e-6)
    assert whole.std_errors[[0, 2]] == pytest.approx(rest.std_errors, rel=1e-6)


def test_perfect_order_in_time_is_separation() -> None:
    """The riskiest row fails first, every time: the likelihood rises for ever."""
    x = np.sort(np.random.default_rng(1).normal(size=60))[::-1, None] * 1e-3 + 1e3
    fit = fit_cox(x, np.arange(1.0, 61.0), np.ones(60))
    assert fit.separated == ("x1",)
    assert np.isnan(fit.coefficients).all()


def test_redundant_columns_are_named_before_the_fit() -> None:
    x, time, event = separated_rows()
    doubled = fit_cox(np.column_stack((x[:, [0, 2]], 2 * x[:, 0] - 7)), time, event)
    assert [item.name for item in doubled.redundant] == ["x3"]
    assert doubled.redundant[0].because == ("x1",)
    assert "collinear" in doubled.concerns
    assert np.isnan(doubled.coefficients).all()
    constant = fit_cox(np.column_stack((x[:, 0], np.full(240, 2020.0))), time, event)
    assert constant.redundant[0].because == ()
    assert not constant.converged


def test_without_events_the_fit_says_so() -> None:
    x, time, event = separated_rows()
    fit = fit_cox(x, time, np.zeros_like(event))
    assert fit.concerns == ("no_events", "not_identified")
    assert fit.events == 0
    assert np.isnan(fit.coefficients).all()


def test_few_events_and_few_clusters_are_concerns() -> None:
    x, time, event = separated_rows()
    fit = fit_cox(x[:, [0, 2]], time, event & (np.arange(240) % 4 == 0), cluster=np.arange(240) % 9)
    assert fit.concerns == ("few_events_per_parameter", "few_clusters")
