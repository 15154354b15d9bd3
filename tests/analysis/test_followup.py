"""Clark's completeness index: published cohorts, and what its limits rest on."""

import numpy as np
import pytest

from analysis.followup import completeness_index


def cohort_of_hundred(year_of_loss: float) -> tuple[list[float], list[float], list[int]]:
    """100 rows of three years: 10, 5 and 5 events in the middle of each, 40 lost, 40 seen whole."""
    followed = [0.5] * 10 + [1.5] * 5 + [2.5] * 5 + [year_of_loss] * 40 + [3.0] * 40
    return followed, [3.0] * 100, [1] * 20 + [0] * 80


@pytest.mark.parametrize(("lost_at", "seen"), [(0.5, 165.0), (2.5, 245.0)])
def test_hundred_followed_for_three_years(lost_at: float, seen: float) -> None:
    """Xue et al. 2017, BMC Med Res Methodol 17:155, figure 1: the cohort is read in its caption
    (verified), the index worked out by hand with its equation 2: 165 and 245 of 265 years."""
    found = completeness_index(*cohort_of_hundred(lost_at))
    assert (found.seen_days, found.possible_days) == (seen, 265)
    assert found.estimate == pytest.approx(seen / 265, rel=1e-15)


def test_four_rows_to_day_200() -> None:
    """Example of an R function for the index (public code, run by hand): 592 of 612 days."""
    found = completeness_index([180, 12, 240, 250], [200] * 4, [0, 1, 0, 1], horizon=200)
    assert (found.seen_days, found.possible_days) == (592, 612)
    assert found.estimate == pytest.approx(0.967320261437908, rel=1e-12)


def test_limits_are_those_of_a_jackknife_over_animals() -> None:
    """Second route: leave out one animal after the other; the errors agree as animals grow."""
    rng = np.random.default_rng(3)
    animal = rng.integers(0, 400, 600)
    possible = rng.uniform(100, 900, 600)
    followed = possible * rng.beta(3, 1, 400)[animal]
    ended = rng.random(600) < 0.2
    found = completeness_index(followed, possible, ended, cluster=animal)
    names = np.unique(animal)
    left = [
        completeness_index(followed[keep], possible[keep], ended[keep]).estimate
        for keep in (animal != name for name in names)
    ]
    jackknife = np.sqrt(
        (len(names) - 1) / len(names) * ((np.array(left) - np.mean(left)) ** 2).sum()
    )
    assert found.clusters == len(names)
    assert found.std_error == pytest.approx(jackknife, rel=0.01)
    assert found.low < found.estimate < found.high
    alone = completeness_index(followed, possible, ended)
    assert alone.std_error < found.std_error


def test_nobody_lost_is_complete_and_has_no_limits() -> None:
    found = completeness_index([10, 400], [500, 400], [1, 0])
    assert found.estimate == 1
    assert np.isnan(found.low)
    assert np.isnan(completeness_index([], [], []).estimate)
    assert np.isnan(completeness_index([0], [0], [0]).estimate)


def test_a_row_followed_longer_than_the_study_adds_no_missing_time() -> None:
    found = completeness_index([120], [100], [0])
    assert found.estimate == 1


def test_impossible_days_are_refused() -> None:
    with pytest.raises(ValueError, match="followed must not be negative"):
        completeness_index([-1], [5], [0])
    with pytest.raises(ValueError, match="possible must have 1 rows"):
        completeness_index([1], [5, 6], [0])
    with pytest.raises(ValueError, match="ended must hold 0 and 1"):
        completeness_index([1], [5], [2])
