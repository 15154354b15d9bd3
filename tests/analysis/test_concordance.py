"""Uno's concordance: R's values, pairs counted by hand, and that it forgets the censoring."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.concordance import harrell_concordance, uno_concordance
from analysis.cox import CoxFit, fit_cox
from analysis.cox_rows import CoxRows, checked_rows
from tests.analysis.r_values import ORACLES, r_values

LUNG = Path(__file__).parents[2] / "shared" / "published" / "survival_lung.csv"


def fitted(group: str) -> CoxFit:
    if group == "lung":
        lung = pl.read_csv(LUNG, null_values="NA").drop_nulls("wt.loss")
        return fit_cox(lung.select("age", "sex", "wt.loss"), lung["time"], lung["status"] == 2)
    d = pl.read_csv(ORACLES / "survival_tied.csv")
    return fit_cox(
        d.select("x1", "x2", "x3"), d["time"], d["state"] == 1,
        strata=d["stratum"] if group == "strata" else None,
    )  # fmt: skip


@pytest.mark.parametrize("group", ["lung", "tied", "strata"])
def test_both_concordances_are_those_of_r(group: str) -> None:
    """concordance(fit) and concordance(fit, timewt = "n/G2", ymax =)."""
    fit, values = fitted(group), r_values("survival_concordance")
    linear = fit.rows.x @ fit.coefficients
    assert fit.concordance == pytest.approx(values[group, "harrell"], rel=1e-6)
    assert uno_concordance(fit.rows, linear) == pytest.approx(values[group, "uno"], rel=1e-6)
    for day in (200, 310, 500) if group == "lung" else (98, 196):
        found = uno_concordance(fit.rows, linear, last_day=day)
        assert found == pytest.approx(values[group, f"uno {day}"], rel=1e-6)


def rows_of(time: np.ndarray, event: np.ndarray, score: np.ndarray) -> CoxRows:
    return checked_rows(
        score[:, None], time, event, entry=None, strata=None, weights=None, cluster=None
    )


def test_four_rows_by_hand() -> None:
    """Event on day 1 pairs with three; on 2 one is lost, G is 2/3 then; the event on 3 has one."""
    time, event = np.array([1.0, 2, 3, 4]), np.array([1.0, 0, 1, 0])
    score = np.array([3.0, 5, 1, 2])
    # day 1: two of three pairs are right, weight 1; day 3: its one pair is wrong, weight 9 / 4.
    assert uno_concordance(rows_of(time, event, score), score) == pytest.approx(2 / (3 + 9 / 4))
    assert uno_concordance(rows_of(time, event, score), score, last_day=2) == pytest.approx(2 / 3)


def test_without_censoring_it_is_harrell_s() -> None:
    draw = np.random.default_rng(1)
    score = draw.normal(size=80)
    rows = rows_of(np.ceil(draw.exponential(30, 80)), np.ones(80), score)
    assert uno_concordance(rows, score) == pytest.approx(harrell_concordance(rows, score))


def test_it_does_not_move_with_the_censoring_as_harrell_s_does() -> None:
    """A score that tells early events only: with early censoring Harrell's sees little else."""
    draw = np.random.default_rng(2)
    n = 6000
    high = draw.random(n) < 0.5
    early = draw.exponential(np.where(high, 30, 90), n)
    time = np.where(early < 15, early, 15 + draw.exponential(60, n))
    lost = draw.exponential(25, n)
    score = high.astype(float)
    whole = rows_of(time, np.ones(n), score)
    cut = rows_of(np.minimum(time, lost), (time <= lost).astype(float), score)
    truth = uno_concordance(whole, score, last_day=80)
    assert uno_concordance(cut, score, last_day=80) == pytest.approx(truth, abs=0.015)
    assert harrell_concordance(cut, score) - truth > 0.03


def test_late_entry_is_refused_and_no_pair_gives_no_number() -> None:
    rows = checked_rows(
        [[1.0], [2.0]], [5.0, 6.0], [1, 0], entry=[1.0, 0.0], strata=None, weights=None,
        cluster=None,
    )  # fmt: skip
    with pytest.raises(ValueError, match="takes no late entry"):
        uno_concordance(rows, np.array([1.0, 2.0]))
    none = rows_of(np.array([5.0, 6.0]), np.zeros(2), np.array([1.0, 2.0]))
    assert np.isnan(uno_concordance(none, np.array([1.0, 2.0])))
