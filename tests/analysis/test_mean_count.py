"""Mean cumulative counts: R's values, the definition, and what there is without events."""

from functools import cache
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.incidence import aalen_johansen
from analysis.mean_contrast import difference_of_means, ratio_of_means
from analysis.mean_count import MeanCount, mean_cumulative_count
from analysis.survival import nelson_aalen
from tests.analysis.r_values import r_values

PUBLISHED = Path(__file__).parents[2] / "shared" / "published"
MONTHS = (6, 12, 24, 36)
ARMS = ("placebo", "pyridoxine", "thiotepa")


@cache
def bladder(*, arm: int | str | None = None, deaths: bool = False) -> pl.DataFrame:
    """Recurrences as stretches; death is status 2 or 3; two patients without a day are left out."""
    name, column = ("survival_bladder1", "treatment") if deaths else ("survival_bladder2", "rx")
    frame = pl.read_csv(PUBLISHED / f"{name}.csv").filter(pl.col("start") < pl.col("stop"))
    return frame if arm is None else frame.filter(pl.col(column) == arm)


def counted(frame: pl.DataFrame, *, death: bool = True) -> MeanCount:
    state = frame["status"] if "status" in frame.columns else frame["event"]
    return mean_cumulative_count(
        frame["stop"], state if death else state == 1, entry=frame["start"], cluster=frame["id"],
        days=MONTHS,
    )  # fmt: skip


def close(value: float, group: str, quantity: str) -> None:
    right = r_values("survival_mean_count")[group, quantity]
    assert value == pytest.approx(right, rel=1e-6), (group, quantity)


@pytest.mark.parametrize("arm", [None, 1, 2])
def test_counts_and_robust_errors_are_those_of_r(arm: int | None) -> None:
    """survfit(Surv(start, stop, event) ~ 1, id =): cumhaz and std.chaz."""
    for month, at in zip(MONTHS, counted(bladder(arm=arm)).at, strict=True):
        group = "all" if arm is None else f"rx {arm}"
        close(at.estimate, group, f"count {month}")
        close(at.std_error, group, f"se {month}")


@pytest.mark.parametrize("arm", [None, *ARMS])
def test_death_ends_the_counting_or_is_censoring(arm: str | None) -> None:
    """Both estimands: R's curve free of death, its hazard of recurrence, and their influences."""
    frame, group = bladder(arm=arm, deaths=True), f"death {arm}" if arm else "death"
    both = zip(MONTHS, counted(frame).at, counted(frame, death=False).at, strict=True)
    for month, ended, followed in both:
        close(ended.estimate, group, f"count {month}")
        close(ended.std_error, group, f"se {month}")
        close(followed.estimate, group, f"rate {month}")
        close(followed.std_error, group, f"rate se {month}")
        assert ended.estimate < followed.estimate


def test_an_event_that_comes_once_and_ends_the_row_is_a_cumulative_hazard() -> None:
    """Each row its own subject: Nelson-Aalen; and the errors are those of its influences."""
    lung = pl.read_csv(PUBLISHED / "survival_lung.csv", null_values="NA")
    event = lung["status"] - 1
    zero = np.zeros(len(lung))
    ours = mean_cumulative_count(
        lung["time"], event, entry=zero, cluster=np.arange(len(lung)), days=[365]
    )
    hazard = nelson_aalen(lung["time"], event)
    assert ours.estimate == pytest.approx(hazard.estimate, rel=1e-12)
    assert ours.n_at_risk[0] == len(lung)


def test_one_event_a_subject_with_death_is_the_cumulative_incidence() -> None:
    """Who has had the one event it can have leaves as if ended: the count is Aalen-Johansen's."""
    mgus = pl.read_csv(PUBLISHED / "survival_mgus2.csv", null_values="NA")
    mgus = mgus.filter(pl.col("ptime") > 0, pl.col("futime") > 0)
    state = np.where(mgus["pstat"] == 1, 1, 2 * mgus["death"].to_numpy())
    time = np.where(state == 1, mgus["ptime"], mgus["futime"]) + np.where(state == 0, 0.5, 0)
    had = np.flatnonzero(state == 1)
    ours = mean_cumulative_count(
        np.concatenate([time[had], np.where(state == 1, time + 0.25, time)]),
        np.concatenate([state[had], np.where(state == 1, 2, state)]),
        entry=np.concatenate([np.zeros(len(had)), np.where(state == 1, time, 0)]),
        cluster=np.concatenate([had, np.arange(len(time))]),
        days=[120],
    ).at[0]
    theirs = aalen_johansen(time, state, cause=1)
    place = np.searchsorted(theirs.day, 120, side="right") - 1
    assert ours.estimate == pytest.approx(theirs.estimate[place], rel=1e-9)
    assert ours.std_error == pytest.approx(theirs.std_error[place], rel=1e-9)


def test_arms_are_compared_by_difference_and_ratio() -> None:
    one, zero = (counted(bladder(arm=arm)).at[2] for arm in (2, 1))
    difference, ratio = difference_of_means(one, zero), ratio_of_means(one, zero)
    assert difference.estimate == pytest.approx(one.estimate - zero.estimate)
    assert difference.std_error == pytest.approx(np.hypot(one.std_error, zero.std_error))
    assert ratio.estimate == pytest.approx(one.estimate / zero.estimate)
    assert ratio.low < 1 < ratio.high


def test_beyond_follow_up_and_without_events_there_is_no_number() -> None:
    quiet = mean_cumulative_count(
        [10.0, 20.0], [0, 0], entry=[0.0, 0.0], cluster=["a", "b"], days=[5, 30]
    )
    assert quiet.at[0].concerns == ("no_events",)
    assert (quiet.at[0].estimate, np.isnan(quiet.at[0].low)) == (0, True)
    assert quiet.at[1].concerns == ("beyond_follow_up",)
    assert np.isnan(quiet.at[1].estimate)
    all_died = mean_cumulative_count(
        [10.0, 20.0], [2, 2], entry=[0.0, 0.0], cluster=["a", "b"], days=[30]
    )
    assert all_died.at[0].concerns == ("no_events",)


def test_a_stretch_must_end_after_it_begins() -> None:
    with pytest.raises(ValueError, match="entry must be before time in every row, got 5 and 5"):
        mean_cumulative_count([5.0], [1], entry=[5.0], cluster=["a"])
