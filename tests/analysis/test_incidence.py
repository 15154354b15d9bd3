"""Cumulative incidence with competing events: published values, definition, clusters, ties."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.incidence import aalen_johansen, incidence_at, incidence_batch
from analysis.survival import kaplan_meier

Agrees = Callable[[float, str], bool]
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"


def mgus2() -> pl.DataFrame:
    """Months to plasma cell malignancy (1) or death without it (2)."""
    frame = pl.read_csv(PUBLISHED / "survival_mgus2.csv", null_values="NA")
    return frame.with_columns(
        months=pl.when(pl.col("pstat") == 1).then("ptime").otherwise("futime"),
        state=pl.when(pl.col("pstat") == 1).then(1).otherwise(2 * pl.col("death")),
    )


def test_years_spent_in_each_state(agrees: Agrees) -> None:
    """R package survival, vignette "compete": years in state by sex within 20 years, verified."""
    frame = mgus2()
    printed = {("F", 1): "1.323284", ("M", 1): "1.064693", ("F", 2): "8.823108",
               ("M", 2): "10.260294"}  # fmt: skip
    for (sex, cause), value in printed.items():
        own = frame.filter(pl.col("sex") == sex)
        found = aalen_johansen(own["months"], own["state"], cause=cause)
        assert agrees(found.area(240) / 12, value)


@pytest.mark.parametrize(("cause", "value"), [(1, 0.0998137159354692), (2, 0.724027976142545)])
def test_incidence_by_twenty_years(cause: int, value: float) -> None:
    """R survfit, computed; no published number. Ties jittered at random give 0.0999."""
    frame = mgus2()
    at = incidence_at(aalen_johansen(frame["months"], frame["state"], cause=cause), [240])[0]
    assert at.estimate == pytest.approx(value, rel=1e-12)


def test_simulated_competing_risks_of_cmprsk(agrees: Agrees) -> None:
    """Reference output of the tests of the R package cmprsk, all 100 rows, verified.

    Its variance is another formula (0.002062 where this one and R survfit give 0.002029 at t = 1)
    and is not compared.
    """
    frame = pl.read_csv(PUBLISHED / "cmprsk_reference.csv")
    printed = {1: ("0.2352861", "0.3287068", "0.4247898"), 2: ("0.2567862", None, "0.4631781")}
    for cause, values in printed.items():
        curve = aalen_johansen(frame["time"], frame["cause"], cause=cause)
        for at, value in zip(incidence_at(curve, [1, 2, 3]), values, strict=True):
            assert value is None or agrees(at.estimate, value)


class Rows:
    """Rows with many ties: whole weeks, three states, late entry, weights, clusters."""

    def __init__(self, seed: int, n: int = 70) -> None:
        rng = np.random.default_rng(seed)
        self.entry = rng.integers(0, 3, n).astype(float)
        self.time = self.entry + rng.integers(1, 9, n)
        self.state = rng.integers(0, 3, n)
        self.weights = rng.integers(0, 4, n) / 2
        self.weights[0] = 1.0
        self.cluster = rng.integers(0, n // 2, n)


def slow_incidence(rows: Rows, weights: np.ndarray, day: float) -> float:
    """Sum over event days of the event-free share times the hazard of the cause."""
    free, total = 1.0, 0.0
    for event_day in np.unique(rows.time[rows.time <= day]):
        there = weights[(rows.entry < event_day) & (rows.time >= event_day)].sum()
        leaves = (rows.time == event_day) & (rows.state > 0)
        if there > 0:
            total += free * weights[leaves & (rows.state == 1)].sum() / there
            free *= 1 - weights[leaves].sum() / there
    return total


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), day=st.integers(1, 12))
def test_incidence_is_that_of_the_definition(seed: int, day: int) -> None:
    rows = Rows(seed)
    curve = aalen_johansen(rows.time, rows.state, cause=1, entry=rows.entry, weights=rows.weights)
    place = int(np.searchsorted(curve.day, day, side="right")) - 1
    right = slow_incidence(rows, rows.weights, day)
    assert (curve.estimate[place] if place >= 0 else 0.0) == pytest.approx(right, abs=1e-12)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), clustered=st.booleans())
def test_errors_are_the_jackknife_of_the_definition(seed: int, clustered: bool) -> None:
    """Move each cluster's weight a little; sum the squares of what the incidence does."""
    rows = Rows(seed)
    rows.weights += 0.5
    label = rows.cluster if clustered else np.arange(len(rows.time))
    curve = aalen_johansen(rows.time, rows.state, cause=1, entry=rows.entry, weights=rows.weights,
                           cluster=label if clustered else None)  # fmt: skip
    for day in (2, 5, 8):
        total = 0.0
        for own in np.unique(label):
            move = 1e-4 * (label == own)
            ahead, behind = (
                slow_incidence(rows, rows.weights * (1 + sign * move), day) for sign in (1, -1)
            )
            total += ((ahead - behind) / 2e-4) ** 2
        place = int(np.searchsorted(curve.day, day, side="right")) - 1
        found = curve.std_error[place] if place >= 0 else 0.0
        assert found == pytest.approx(np.sqrt(total), rel=1e-5, abs=1e-9)


def test_both_ways_to_the_error_agree() -> None:
    """Rows alone by counts of days, and as clusters of one by running sums."""
    rows = Rows(3, n=400)
    by_day = aalen_johansen(rows.time, rows.state, cause=1)
    by_row = aalen_johansen(rows.time, rows.state, cause=1, cluster=np.arange(400))
    assert by_row.std_error == pytest.approx(by_day.std_error, rel=1e-10)
    assert by_row.clusters == 400


def test_two_copies_of_every_row_are_no_more_information() -> None:
    rows = Rows(4, n=90)
    once = aalen_johansen(rows.time, rows.state, cause=1)
    twice = aalen_johansen(
        np.tile(rows.time, 2), np.tile(rows.state, 2), cause=1, cluster=np.tile(np.arange(90), 2)
    )
    assert twice.std_error == pytest.approx(once.std_error, rel=1e-10)


def test_without_competing_events_it_is_one_minus_kaplan_meier() -> None:
    """Estimate, Greenwood's error before the last day, and log-log limits."""
    rows = Rows(5, n=200)
    event = rows.state == 1
    curve = aalen_johansen(rows.time, event, cause=1)
    survival = kaplan_meier(rows.time, event)
    assert curve.estimate == pytest.approx(1 - survival.estimate, abs=1e-12)
    inner = survival.estimate > 0
    assert curve.std_error[inner] == pytest.approx(survival.std_error[inner], rel=1e-9)
    assert curve.low[inner] == pytest.approx(1 - survival.high[inner], nan_ok=True, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_shares_of_all_states_add_up_to_one(seed: int) -> None:
    rows = Rows(seed)
    curves = [aalen_johansen(rows.time, rows.state, cause=cause) for cause in (1, 2)]
    total = curves[0].event_free + curves[0].estimate + curves[1].estimate
    assert total == pytest.approx(np.ones_like(total), abs=1e-12)
    assert all(np.all(np.diff(curve.estimate) >= 0) for curve in curves)


def test_numbers_beside_a_day() -> None:
    curve = aalen_johansen([3, 5, 5, 8, 9], [1, 0, 2, 1, 0], cause=1)
    at = incidence_at(curve, [5])[0]
    assert (at.n_at_risk, at.n_events, at.n_competing, at.n_censored) == (4, 1, 1, 1)
    assert at.estimate == pytest.approx(0.2)
    before = incidence_at(curve, [1])[0]
    assert (before.estimate, before.n_at_risk, before.concerns) == (0.0, 5, ("no_events",))


def test_a_day_beyond_follow_up_gets_no_number() -> None:
    curve = aalen_johansen([3, 5, 8], [1, 0, 0], cause=1)
    beyond = incidence_at(curve, [9])[0]
    assert np.isnan(beyond.estimate)
    assert "beyond_follow_up" in beyond.concerns
    ended = aalen_johansen([3, 5, 8], [1, 2, 1], cause=1)  # nobody is left to change it
    assert incidence_at(ended, [9])[0].estimate == pytest.approx(2 / 3)


def test_batch_of_weights_gives_what_single_curves_give() -> None:
    rows = Rows(6, n=120)
    rng = np.random.default_rng(6)
    weights = rng.multinomial(120, np.full(120, 1 / 120), size=20).T.astype(float)
    found = incidence_batch(rows.time, rows.state, weights, cause=1, days=[0, 3, 6, 50])
    for sample in (0, 19):
        one = aalen_johansen(rows.time, rows.state, cause=1, weights=weights[:, sample])
        expected = [0.0, *(one.estimate[np.searchsorted(one.day, [3, 6, 50], side="right") - 1])]
        assert found[:, sample] == pytest.approx(expected, abs=1e-12)


def test_a_hundred_runs_on_weekly_days_give_the_same_bytes() -> None:
    """One library jitters tied days at random: 0.449 to 0.691 for one risk."""
    rows = Rows(7, n=300)
    runs = {
        aalen_johansen(rows.time, rows.state, cause=1, cluster=rows.cluster).std_error.tobytes()
        for _ in range(100)
    }
    assert len(runs) == 1


@pytest.mark.parametrize(
    ("state", "cause", "message"),
    [
        ([1, 0.5, 0], 1, "state must hold whole numbers from 0, got 0.5"),
        ([1, -1, 0], 1, "state must not be negative"),
        ([1, 2, 0], 0, "cause must be at least 1"),
    ],
)
def test_bad_states_are_refused(state: list[float], cause: int, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        aalen_johansen([1, 2, 3], state, cause=cause)
