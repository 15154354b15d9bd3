"""Piecewise-exponential hazards: R's Poisson and binomial models, limits, what has no number."""

import numpy as np
import polars as pl
import pytest

from analysis.arrays import FloatArray, IntArray
from analysis.kernels.piecewise import PieceRows, cut_rows, evaluate
from analysis.parametric import fit_parametric
from analysis.piecewise import fit_piecewise, piecewise_risks
from tests.analysis.r_values import r_values
from tests.analysis.test_parametric import arm, cosmesis, exact_or_censored, lung, tied

TERMS = ("x1", "x2", "x3")
CUTS = (42.0, 91.0, 182.0)
VISITS = np.array([56.0, 112.0, 182.0])
SCRIPT = "survival_piecewise"


def terms() -> FloatArray:
    """Terms of the tied rows, the year counted from 2020 as in the R script."""
    return tied().with_columns(x3=pl.col("x3") - 2020).select(TERMS).to_numpy().astype(float)


def between_common_visits() -> tuple[IntArray, FloatArray, FloatArray]:
    """Rows that were looked at, by place, and both ends of their intervals."""
    day, event = tied()["time"].to_numpy().astype(float), tied()["event"].to_numpy() == 1
    seen = np.where(event, np.searchsorted(VISITS, day, side="left"),
                    np.searchsorted(VISITS, day, side="right"))  # fmt: skip
    left, right = np.append(0.0, VISITS)[seen], np.append(VISITS, np.nan)[seen]
    kept = np.flatnonzero(~(event & (seen == 3)))
    ends = np.where(event, right, np.nan)
    return kept, np.asarray(left[kept]), np.asarray(ends[kept])


@pytest.mark.parametrize(
    "kind", ["right-censored", "by animal", "late entry and weights by animal", "lung"]
)
def test_days_as_r_has_them_in_a_poisson_model_of_split_rows(kind: str) -> None:
    """glm(poisson) with an offset on survSplit rows; errors, robust ones too, at the estimate."""
    frame, x, names, cuts = tied(), terms(), TERMS, CUTS
    if kind == "lung":
        frame, names, cuts = lung("ph.ecog"), ("age", "sex", "ph.ecog"), (200.0, 400.0)
        x = frame.select(names).to_numpy().astype(float)
    late = kind.startswith("late")
    fit = fit_piecewise(
        x, *exact_or_censored(frame), cuts=cuts, names=names,
        entry=frame["entry"].to_numpy() if late else None,
        weights=frame["weight"].to_numpy() if late else None,
        cluster=frame["animal"].to_numpy() if "animal" in kind else None,
    )  # fmt: skip
    right, found = r_values(SCRIPT), np.concatenate([fit.log_rates, fit.coefficients])
    labels = [*(f"piece {place}" for place in range(1, len(cuts) + 2)), *names]
    for place, name in enumerate(labels):
        assert found[place] == pytest.approx(right[kind, f"coefficient {name}"], rel=1e-6)
        assert fit.std_errors[place] == pytest.approx(right[kind, f"error {name}"], rel=1e-6)
    if kind != "lung":
        assert fit.log_likelihood == pytest.approx(right[kind, "log likelihood"], rel=1e-9)


def test_intervals_between_common_visits_are_a_binomial_model_of_visits() -> None:
    """glm(binomial("cloglog")) with a row for each interval that was looked at."""
    kept, left, ends = between_common_visits()
    right, x = r_values(SCRIPT), terms()[kept]
    animal = tied()["animal"].to_numpy()[kept]
    alone = fit_piecewise(x, left, ends, cuts=VISITS[:2].tolist(), names=TERMS)
    robust = fit_piecewise(x, left, ends, cuts=VISITS[:2].tolist(), names=TERMS, cluster=animal)
    for place, rate in enumerate(alone.log_rates):
        assert rate == pytest.approx(right["visits", f"log rate {place + 1}"], rel=1e-6)
    for place, name in enumerate(("piece 1", "piece 2", "piece 3", *TERMS)):
        assert alone.std_errors[place] == pytest.approx(right["visits", f"error {name}"], rel=1e-6)
        expected = right["visits", f"robust error {name}"]
        assert robust.std_errors[place] == pytest.approx(expected, rel=1e-6)
    for place, name in enumerate(TERMS):
        expected = right["visits", f"coefficient {name}"]
        assert alone.coefficients[place] == pytest.approx(expected, rel=1e-6)
    assert alone.log_likelihood == pytest.approx(right["visits", "log likelihood"], rel=1e-9)


def test_one_piece_is_the_exponential_model() -> None:
    """survival::survreg(dist = "exponential") on the intervals of breast cosmesis."""
    frame, right = cosmesis(), r_values(SCRIPT)
    fit = fit_piecewise(arm(frame), frame["left"], frame["right"], cuts=(), names=("arm",))
    group = "bcos one piece"
    assert fit.log_rates[0] == pytest.approx(right[group, "log rate"], rel=1e-6)
    assert fit.coefficients[0] == pytest.approx(right[group, "coefficient arm"], rel=1e-6)
    for place, name in enumerate(("log rate", "arm")):
        assert fit.std_errors[place] == pytest.approx(right[group, f"error {name}"], rel=1e-6)
    for which, value in (("null", fit.log_likelihood_null), ("fit", fit.log_likelihood)):
        assert value == pytest.approx(right[group, f"log likelihood {which}"], rel=1e-9)


def test_many_pieces_of_a_smooth_hazard_come_close_to_its_form() -> None:
    """A Weibull hazard invented in quantiles; 40 pieces follow its curve and its ratio."""
    share = (np.arange(2000) + 0.5) / 2000
    x = np.tile([0.0, 1.0], 1000)
    day = 100 * (-np.log(share) / np.exp(0.7 * x)) ** (1 / 1.4)
    cuts = np.linspace(0, 200, 41)[1:-1].tolist()
    pieces = fit_piecewise(x[:, None], day, day, cuts=cuts)
    form = fit_parametric(x[:, None], day, day, distribution="weibull")
    assert pieces.coefficients[0] == pytest.approx(-form.coefficients[1] / form.scale, abs=0.01)
    risks = piecewise_risks(pieces, x[:, None], [30, 90, 150])
    expected = [np.mean(-np.expm1(-np.exp(0.7 * x) * (at / 100) ** 1.4)) for at in (30, 90, 150)]
    assert risks == pytest.approx(expected, abs=0.004)


def test_slopes_are_those_of_the_likelihood() -> None:
    rng = np.random.default_rng(4)
    left = rng.uniform(5, 60, 30)
    right = np.where(rng.random(30) < 0.4, left, left + rng.uniform(1, 80, 30))
    right[:6] = np.inf
    rows: PieceRows = cut_rows((left * rng.random(30) * (left > 20), left, right),
                               np.array([20.0, 50.0]), rng.normal(size=(30, 2)),
                               rng.random(30))  # fmt: skip
    theta = np.array([-3.0, -4.0, -3.5, 0.3, -0.2])
    value, scores, information = evaluate(rows, theta)
    assert np.isfinite(value)
    for place in range(5):
        step = np.eye(5)[place] * 1e-5
        above, below = evaluate(rows, theta + step), evaluate(rows, theta - step)
        slope = (above[0] - below[0]) / 2e-5
        assert float(rows.weights @ scores[:, place]) == pytest.approx(slope, rel=1e-6)
        bend = rows.weights @ (below[1] - above[1]) / 2e-5
        assert information[place] == pytest.approx(bend, rel=1e-6, abs=1e-7)


def test_the_unit_of_days_moves_only_the_rates() -> None:
    frame = cosmesis()
    weeks = fit_piecewise(arm(frame), frame["left"], frame["right"], cuts=(10, 30))
    days = fit_piecewise(arm(frame), 7 * frame["left"], 7 * frame["right"], cuts=(70, 210))
    assert days.coefficients == pytest.approx(weeks.coefficients, rel=1e-8)
    assert days.log_rates == pytest.approx(weeks.log_rates - np.log(7), rel=1e-8)


def test_a_piece_without_an_event_and_one_without_time_are_told_apart() -> None:
    day = np.array([5.0, 8.0, 9.0, 30.0, 40.0, 45.0])
    ends = np.where(np.arange(6) == 5, np.nan, day)
    x = np.array([0.0, 1, 0, 1, 0, 1])[:, None]
    fit = fit_piecewise(x, day, ends, cuts=(10, 20, 50))
    assert np.isneginf(fit.log_rates[1])
    assert np.isnan(fit.log_rates[3])
    assert "piece_without_events" in fit.concerns
    merged = np.where(day > 10, day - 10, day)  # the days of the empty piece taken away
    shorter = fit_piecewise(x, merged, np.where(np.isnan(ends), np.nan, merged), cuts=(10,))
    assert np.isfinite(shorter.coefficients[0])
    risks = piecewise_risks(fit, x, [10, 20, 49, 60])
    assert risks[0] == pytest.approx(risks[1], rel=1e-12)
    assert np.isfinite(risks[2])
    assert np.isnan(risks[3])


def test_a_term_that_separates_is_named_and_the_others_hold_their_limits() -> None:
    """Rows of a level in which nobody has the event add nothing to the others, at the limit."""
    day, ends = exact_or_censored(tied())
    never = np.where(tied()["x1"].to_numpy() == 1, 0.0, (np.arange(400) % 5 == 0) * 1.0)
    ends = np.where(never == 1, np.nan, ends)
    x = np.column_stack([tied()["x2"].to_numpy(), never])
    fit = fit_piecewise(x, day, ends, cuts=CUTS, names=("x2", "never"))
    rest = never == 0
    alone = fit_piecewise(x[rest, :1], day[rest], ends[rest], cuts=CUTS)
    assert fit.separated == ("never",)
    assert {"separation"} <= set(fit.concerns)
    assert fit.coefficients[0] == pytest.approx(alone.coefficients[0], rel=1e-6)
    assert fit.std_errors[4] == pytest.approx(alone.std_errors[4], rel=1e-6)
    assert np.isnan(fit.coefficients[1])


def test_what_cannot_be_fitted_or_read_has_a_reason() -> None:
    nobody = fit_piecewise([[0.0], [1.0]], [3, 4], [np.nan, np.nan], cuts=(2,))
    assert nobody.concerns == ("no_events", "not_identified")
    same = fit_piecewise([[1.0], [1.0]], [3, 4], [3, np.nan], cuts=(2,))
    assert same.concerns == ("collinear", "not_identified")
    with pytest.raises(ValueError, match="cuts must be days above 0 that rise"):
        fit_piecewise([[0.0], [1.0]], [3, 4], [3, 4], cuts=(5, 2))
    with pytest.raises(ValueError, match=r"entry must lie before the day, got 4 and 3 in row 0"):
        fit_piecewise([[0.0], [1.0]], [3, 4], [3, 4], cuts=(2,), entry=[4, 0])
