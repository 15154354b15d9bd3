"""Restricted mean survival: the published vignette, and the spread of simulated samples."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.mean_contrast import difference_of_means, ratio_of_means
from analysis.restricted_mean import RestrictedMean, restricted_mean
from tests.analysis.r_values import ORACLES, r_values

Agrees = Callable[[float, str], bool]
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"


def test_restricted_means_of_biliary_cirrhosis(agrees: Agrees) -> None:
    """Vignette of the R package survRM2, 10 years, verified."""
    pbc = (
        pl.read_csv(PUBLISHED / "survival_pbc.csv", null_values="NA")
        .head(312)
        .with_columns(years=pl.col("time") / 365.25)
    )
    arms: list[pl.DataFrame] = [pbc.filter(pl.col("trt") == arm) for arm in (1, 2)]
    first, second = (restricted_mean(arm["years"], arm["status"] == 2, horizon=10) for arm in arms)
    assert agrees(first.estimate, "7.146")
    assert agrees(first.std_error, "0.283")
    assert agrees(second.estimate, "7.283")
    assert agrees(second.std_error, "0.295")
    assert agrees(first.limits()[0], "6.592")
    assert agrees(first.limits()[1], "7.701")
    difference = difference_of_means(first, second)
    for value, printed in ((difference.estimate, "-0.137"), (difference.low, "-0.939"),
                           (difference.high, "0.665"), (difference.p_value, "0.738")):  # fmt: skip
        assert agrees(value, printed)
    ratio = ratio_of_means(first, second)
    for value, printed in ((ratio.estimate, "0.981"), (ratio.low, "0.878"), (ratio.high, "1.096")):
        assert agrees(value, printed)


def test_restricted_mean_beyond_follow_up_is_refused() -> None:
    six_mp = pl.read_csv(PUBLISHED / "gehan.csv").filter(pl.col("treat") == "6-MP")
    with pytest.raises(ValueError, match="horizon must be within follow-up, got 40 > 35"):
        restricted_mean(six_mp["time"], six_mp["cens"], horizon=40)


def test_error_of_the_restricted_mean_is_that_of_simulated_samples() -> None:
    """The spread of estimates over 400 samples; one library returns the variance of min(T, t)."""
    rng = np.random.default_rng(1)
    found: list[tuple[float, float]] = []
    for _ in range(400):
        time = np.ceil(rng.exponential(300, 120))
        lost = rng.uniform(100, 700, 120)
        mean = restricted_mean(np.minimum(time, np.ceil(lost)), time <= lost, horizon=100)
        found.append((mean.estimate, mean.std_error))
    spread = np.std([estimate for estimate, _ in found])
    assert np.mean([error for _, error in found]) == pytest.approx(spread, rel=0.08)


def tied() -> pl.DataFrame:
    return pl.read_csv(ORACLES / "survival_tied.csv").with_columns(
        event=(pl.col("state") == 1), any=pl.col("state") > 0
    )


def close(value: float, group: str, quantity: str) -> None:
    right = r_values("survival_restricted_mean")[group, quantity]
    assert value == pytest.approx(right, rel=1e-6), (group, quantity)


@pytest.mark.parametrize("day", [98, 196, 350])
@pytest.mark.parametrize("kind", ["plain", "entry", "any"])
def test_means_and_errors_are_those_of_r(kind: str, day: int) -> None:
    """summary(survfit, rmean =); by cluster the influences of survfit integrated to the day."""
    d = tied()
    event = d["any" if kind == "any" else "event"]
    entry = d["entry"] if kind == "entry" else None
    mean = restricted_mean(d["time"], event, horizon=day, entry=entry)
    close(mean.estimate, kind, f"mean {day}")
    close(mean.std_error, kind, f"se {day}")
    if kind != "any":
        by_animal = restricted_mean(
            d["time"], event, horizon=day, entry=entry, cluster=d["animal"]
        )  # fmt: skip
        close(by_animal.std_error, kind, f"cluster se {day}")


@pytest.mark.parametrize("day", [196, 350])
def test_arms_that_share_animals_are_compared_as_r_s_influences_say(day: int) -> None:
    zero, one = (
        restricted_mean(own["time"], own["event"], horizon=day, cluster=own["animal"])
        for own in (tied().filter(pl.col("x1") == arm) for arm in (0, 1))
    )
    difference, ratio = difference_of_means(one, zero), ratio_of_means(one, zero)
    close(difference.estimate, "arms", f"difference {day}")
    close(difference.std_error, "arms", f"se {day}")
    close(float(np.log(ratio.estimate)), "arms", f"log ratio {day}")
    close(ratio.std_error, "arms", f"se log ratio {day}")


def test_rows_that_are_clusters_of_their_own_have_the_textbook_error() -> None:
    d = tied()
    plain = restricted_mean(d["time"], d["event"], horizon=196)
    alone = restricted_mean(d["time"], d["event"], horizon=196, cluster=np.arange(len(d)))
    assert alone.std_error == pytest.approx(plain.std_error, rel=1e-12)
    assert alone.influence.sum() == pytest.approx(0, abs=1e-10)


def free(n: int, *, day: float = 400.0) -> RestrictedMean:
    return restricted_mean(np.full(n, day), np.zeros(n), horizon=365)


def test_groups_without_an_event_before_the_horizon_are_not_compared() -> None:
    """Both means are the horizon and nothing varies: no p value can be had from that."""
    assert free(10).estimate == 365
    assert np.isnan(free(10).limits()).all()
    for compare in (difference_of_means, ratio_of_means):
        found = compare(free(10), free(20))
        assert found.concerns == ("no_events",)
        assert np.isnan([found.estimate, found.low, found.high, found.p_value]).all()


def test_groups_that_fail_on_one_day_each_are_not_compared() -> None:
    first, second = (restricted_mean(np.full(4, day), np.ones(4), horizon=365) for day in (30, 60))
    assert (first.estimate, first.std_error) == (30, 0)
    assert difference_of_means(first, second).concerns == ("not_identified",)
    assert ratio_of_means(first, second).concerns == ("not_identified",)
    at_once = restricted_mean(np.zeros(4), np.ones(4), horizon=365)
    assert ratio_of_means(at_once, second).concerns == ("not_identified",)


def test_a_group_with_few_events_makes_the_limits_too_narrow() -> None:
    d = tied()
    other = restricted_mean(d["time"], d["event"], horizon=350)
    found = difference_of_means(free(20), other)
    assert found.std_error == other.std_error
    assert found.concerns == ("interval_too_narrow",)
