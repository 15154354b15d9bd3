"""Kaplan-Meier, its quantiles, Nelson-Aalen and log-rank on published data."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.statistics import multivariate_logrank_test
from scipy.stats import norm

from analysis.survival import (
    KaplanMeier,
    kaplan_meier,
    log_rank,
    nelson_aalen,
    reverse_kaplan_meier,
)

Agrees = Callable[[float, str], bool]
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"


def table(name: str) -> pl.DataFrame:
    return pl.read_csv(PUBLISHED / f"{name}.csv", null_values="NA")


def maintained() -> pl.DataFrame:
    return table("aml").filter(pl.col("x") == "Maintained")


def six_mp() -> pl.DataFrame:
    return table("gehan").filter(pl.col("treat") == "6-MP")


def on(curve: KaplanMeier, day: float) -> int:
    return int(np.searchsorted(curve.day, day, side="right")) - 1


def test_leukaemia_maintenance_curve(agrees: Agrees) -> None:
    """R package survival, reference output "doaml" (limits on the log scale), verified."""
    aml = maintained()
    curve = kaplan_meier(aml["time"], aml["status"], conf_type="log")
    for week, survival, error in ((9, "0.909", "0.0867"), (18, "0.716", "0.1397"),
                                  (48, "0.184", "0.1535")):  # fmt: skip
        assert agrees(curve.estimate[on(curve, week)], survival)
        assert agrees(curve.std_error[on(curve, week)], error)
    assert agrees(curve.low[on(curve, 9)], "0.7541")


def test_leukaemia_maintenance_medians(agrees: Agrees) -> None:
    """Same output, verified."""
    aml = table("aml")
    for arm, median, low in (("Maintained", "31", "18"), ("Nonmaintained", "23", "8")):
        own = aml.filter(pl.col("x") == arm)
        found = kaplan_meier(own["time"], own["status"], conf_type="log").quantile()
        assert agrees(found.estimate, median)
        assert agrees(found.low, low)


@pytest.mark.parametrize(
    ("week", "survival", "error"),
    [
        (6, 0.857142857142857, 0.0763603548321213),
        (10, 0.752941176470588, 0.0963496529943205),
        (16, 0.627450980392157, 0.114053865256753),
        (23, 0.448179271708683, 0.13459145675576),
    ],
)
def test_remission_curve(week: int, survival: float, error: float) -> None:
    """Freireich 1963, 6-MP arm; R survfit. Klein & Moeschberger Table 4.1A from memory."""
    curve = kaplan_meier(six_mp()["time"], six_mp()["cens"])
    assert curve.estimate[on(curve, week)] == pytest.approx(survival, rel=1e-12)
    assert curve.std_error[on(curve, week)] == pytest.approx(error, rel=1e-12)


def test_remission_limits_on_the_log_log_scale() -> None:
    """R survfit(conf.type = "log-log"), computed; no published number."""
    curve = kaplan_meier(six_mp()["time"], six_mp()["cens"])
    place = on(curve, 10)
    assert curve.low[place] == pytest.approx(0.503199510799957, rel=1e-10)
    assert curve.high[place] == pytest.approx(0.889361835169265, rel=1e-10)


def test_lung_cancer_follow_up_is_the_reverse_curve() -> None:
    """R survfit of the reversed status, computed; no published number."""
    lung = table("survival_lung")
    found = reverse_kaplan_meier(lung["time"], lung["status"] == 2, conf_type="log").quantile()
    assert (found.estimate, found.low, found.high) == (588, 511, 1010)


def test_cumulative_hazard_in_exact_fractions() -> None:
    """6-MP arm: 3/21 at week 6, and the variance 3/21^2."""
    found = nelson_aalen(six_mp()["time"], six_mp()["cens"])
    place = int(np.searchsorted(found.day, 6))
    assert found.estimate[place] == pytest.approx(3 / 21, rel=1e-14)
    assert found.std_error[place] ** 2 == pytest.approx(3 / 21**2, rel=1e-14)
    assert found.estimate[-1] == pytest.approx(0.752113572701808, rel=1e-12)  # R, computed


def test_log_rank_of_leukaemia_maintenance(agrees: Agrees) -> None:
    """R package survival, reference output "doaml", verified."""
    aml = table("aml")
    found = log_rank(aml["time"], aml["status"], aml["x"])
    assert agrees(found.statistic, "3.4")
    assert agrees(found.expected[0], "10.69")
    assert found.groups == ("Maintained", "Nonmaintained")


def test_log_rank_of_ovarian_cancer_and_by_centre(agrees: Agrees) -> None:
    """R package survival, reference output of the examples of survdiff, verified."""
    ovarian = table("survival_ovarian")
    assert agrees(log_rank(ovarian["futime"], ovarian["fustat"], ovarian["rx"]).statistic, "1.1")
    lung = table("survival_lung").drop_nulls(["pat.karno", "inst"])
    found = log_rank(lung["time"], lung["status"] == 2, lung["pat.karno"], strata=lung["inst"])
    assert agrees(found.statistic, "21.4")
    assert found.df == 7


def test_gehan_and_tarone_ware_weights(agrees: Agrees) -> None:
    """Kleinbaum & Klein 2012, values quoted in the tests of lifelines, verified."""
    gehan = table("gehan")
    data = (gehan["time"], gehan["cens"], gehan["treat"])
    assert agrees(log_rank(*data, weight="gehan").statistic, "13.457852")
    assert agrees(log_rank(*data, weight="tarone_ware").statistic, "15.123575")


@pytest.mark.parametrize(
    ("rho", "gamma", "chi_square", "score"),
    [
        (0, 0, 2.52950631756202, 3.96355161552367),
        (1, 0, 1.3865227819274, 2.55013667517814),
        (0, 1, 9.66803500470239, 1.41341494034553),
        (1, 1, 9.8340628613192, 1.02064155191655),
        (0.5, 0.5, 9.28485927437452, 2.46953842565026),
        (0.5, 2, 8.17900101450292, 0.323500617510572),
    ],
)
def test_fleming_harrington_family(
    rho: float, gamma: float, chi_square: float, score: float
) -> None:
    """Catheter infection: values computed in R; Klein & Moeschberger Table 7.3 from memory."""
    kidney = table("km_kidney_infection")
    found = log_rank(kidney["time"], kidney["delta"], kidney["type"], rho=rho, gamma=gamma)
    assert found.statistic == pytest.approx(chi_square, rel=1e-10)
    assert abs(found.observed[0] - found.expected[0]) == pytest.approx(score, rel=1e-10)


def test_peto_weights_of_two_kinds() -> None:
    """Catheter infection: R, rho 1; for n + 1 the definition in R, Table 7.3 (1.40) from memory."""
    kidney = table("km_kidney_infection")
    data = (kidney["time"], kidney["delta"], kidney["type"])
    peto = log_rank(*data, weight="peto_peto")
    assert peto.statistic == pytest.approx(1.3865227819274, rel=1e-10)
    prentice = log_rank(*data, weight="peto_prentice")
    assert prentice.statistic == pytest.approx(1.39916001922770, rel=1e-10)


def test_peto_s_test_is_harrington_and_fleming_s_with_rho_one_in_strata_too() -> None:
    lung = table("survival_lung").drop_nulls("inst")
    data = (lung["time"], lung["status"] == 2, lung["sex"])
    peto = log_rank(*data, weight="peto_peto", strata=lung["inst"])
    rho = log_rank(*data, rho=1, strata=lung["inst"])
    assert peto.statistic == pytest.approx(rho.statistic, rel=1e-12)
    assert peto.statistic != pytest.approx(log_rank(*data, weight="peto_peto").statistic, rel=1e-3)


days_and_events = st.lists(
    st.tuples(st.integers(1, 12), st.booleans(), st.integers(0, 1)), min_size=4, max_size=60
)


@settings(max_examples=60, deadline=None)
@given(rows=days_and_events)
def test_survival_never_rises_and_counts_close(rows: list[tuple[int, bool, int]]) -> None:
    time, event, _ = (np.array(column) for column in zip(*rows, strict=True))
    curve = kaplan_meier(time, event)
    assert np.all(np.diff(curve.estimate) <= 0)
    assert curve.n_events.sum() + curve.n_censored.sum() == len(time)
    assert np.all(curve.n_at_risk == [(time >= day).sum() for day in curve.day])
    seen = ~np.isnan(curve.low)
    assert np.all(curve.low[seen] <= curve.estimate[seen] + 1e-12)
    assert np.all(curve.high[seen] >= curve.estimate[seen] - 1e-12)


@settings(max_examples=12, deadline=None)
@given(rows=days_and_events)
def test_second_route_by_lifelines(rows: list[tuple[int, bool, int]]) -> None:
    time, event, group = (np.array(column) for column in zip(*rows, strict=True))
    curve = kaplan_meier(time, event)
    other = KaplanMeierFitter().fit(time, event)
    assert curve.at(curve.day) == pytest.approx(np.atleast_1d(other.predict(curve.day)), abs=1e-12)
    if len(np.unique(group)) == 2 and event.any():
        mine, theirs = log_rank(time, event, group), multivariate_logrank_test(time, group, event)
        if mine.df:
            assert mine.statistic == pytest.approx(theirs.test_statistic, rel=1e-8, abs=1e-10)


def test_late_entry_leaves_a_row_out_until_it_is_there() -> None:
    """Two rows at day 1 (1/2 fail), a third enters on day 1 and is at risk from day 2 (1/2)."""
    curve = kaplan_meier([1, 2, 2], [1, 1, 0], entry=[0, 0, 1])
    assert curve.n_at_risk.tolist() == [2, 2]
    assert curve.estimate == pytest.approx([0.5, 0.25])


def test_a_median_on_a_flat_step_is_the_middle_of_the_step() -> None:
    """Survival is exactly one half from day 2 to day 3."""
    assert kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1]).quantile().estimate == 2.5


def test_days_need_not_be_whole() -> None:
    curve = kaplan_meier([0.25, 0.25, 1.5], [1, 0, 1])
    assert curve.day.tolist() == [0.25, 1.5]
    assert curve.estimate == pytest.approx([2 / 3, 0])


@pytest.mark.parametrize(
    ("time", "event", "message"),
    [
        ([1, -1], [1, 0], "time must not be negative"),
        ([1, 2], [1, 2], "event must hold 0 and 1 only"),
        ([], [], "time must have at least one row"),
        ([1, None], [1, 0], "time must be finite"),
    ],
)
def test_bad_input_is_refused(time: list[float], event: list[int], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        kaplan_meier(np.array(time, float), event)


def test_one_group_is_refused() -> None:
    with pytest.raises(ValueError, match="group must have at least two levels, got 1"):
        log_rank([1, 2], [1, 0], ["a", "a"])


def test_curves_give_the_same_bytes_a_hundred_times() -> None:
    rng = np.random.default_rng(2)
    time, event, group = rng.integers(1, 9, 500), rng.random(500) < 0.5, rng.integers(0, 3, 500)

    def run() -> bytes:
        curve = kaplan_meier(time, event)
        test = log_rank(time, event, group, rho=1)
        return curve.low.tobytes() + np.float64(test.statistic).tobytes()

    assert len({run() for _ in range(100)}) == 1


def test_normal_limits_hold_the_confidence_asked_for() -> None:
    """The half width of a plain interval is z times the error."""
    curve = kaplan_meier(six_mp()["time"], six_mp()["cens"], conf_type="plain", confidence=0.9)
    place = on(curve, 13)
    half = (curve.high[place] - curve.low[place]) / 2
    assert half == pytest.approx(norm.ppf(0.95) * curve.std_error[place])
