"""Conditional logistic regression against R's clogit, pairs by hand, and what has no estimate."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from analysis.conditional import ConditionalFit, fit_conditional_logistic
from tests.analysis.r_values import r_values

R = r_values("binary_matched")
PUBLISHED = Path(__file__).parents[2] / "shared" / "published"
INFERT = pl.read_csv(PUBLISHED / "infert.csv")
BIRTHS = pl.read_csv(PUBLISHED / "birthwt.csv")


def fit(frame: pl.DataFrame, names: list[str], outcome: str, matched_set: str) -> ConditionalFit:
    return fit_conditional_logistic(
        frame[names].to_numpy(), frame[outcome].to_numpy(),
        matched_set=frame[matched_set].to_numpy(), names=names,
    )  # fmt: skip


def agrees_with_r(found: ConditionalFit, group: str, names: list[str]) -> None:
    one = found.fit
    errors = np.sqrt(np.diag(one.covariance))
    values = {f"b {name}": value for name, value in zip(names, one.coefficients, strict=True)}
    values |= {f"se {name}": value for name, value in zip(names, errors, strict=True)}
    values |= {
        "log likelihood": one.log_likelihood, "null": one.log_likelihood_null,
        "lr": one.likelihood_ratio.statistic, "wald": one.wald.statistic,
        "score": one.score.statistic,
    }  # fmt: skip
    assert values == pytest.approx({key: R[group, key] for key in values}, rel=1e-7)


def test_sets_of_one_case_agree_with_r() -> None:
    names = ["spontaneous", "induced"]
    found = fit(INFERT, names, "case", "stratum")
    agrees_with_r(found, "both", names)
    assert (found.sets, found.telling) == (83, 83)


def test_levels_agree_with_r() -> None:
    levels = ["factor(induced)1", "factor(induced)2"]
    coded = INFERT.with_columns(
        (pl.col("induced") == place).cast(pl.Int64).alias(name)
        for place, name in enumerate(levels, start=1)
    )
    agrees_with_r(fit(coded, levels, "case", "stratum"), "induced crude", levels)
    names = [*levels, "spontaneous"]
    agrees_with_r(fit(coded, names, "case", "stratum"), "induced", names)


def test_large_sets_of_several_events_agree_with_r() -> None:
    names = ["smoke", "lwt", "ht"]
    found = fit(BIRTHS, names, "low", "age")
    agrees_with_r(found, "ages", names)
    assert found.telling < found.sets


def pairs(differ: tuple[int, int]) -> pl.DataFrame:
    """Pairs of one exposed and one unexposed row, so many with the event in one of them only."""
    outcomes = [(1, 0)] * differ[0] + [(0, 1)] * differ[1] + [(1, 1), (0, 0)]
    return pl.DataFrame([
        {"animal": place, "exposed": exposed, "event": event, "age": 10.3 + place}
        for place, pair in enumerate(outcomes)
        for exposed, event in zip((1, 0), pair, strict=True)
    ])  # fmt: skip


def test_pairs_give_the_ratio_of_those_that_differ() -> None:
    found = fit(pairs((9, 4)), ["exposed"], "event", "animal")
    assert np.exp(found.fit.coefficients[0]) == pytest.approx(9 / 4, rel=1e-9)
    assert found.fit.covariance[0, 0] == pytest.approx(1 / 9 + 1 / 4, rel=1e-9)
    assert (found.sets, found.telling, found.fit.n) == (15, 13, 26)


def test_what_is_the_same_within_a_set_has_no_estimate() -> None:
    found = fit(pairs((9, 4)), ["exposed", "age"], "event", "animal")
    assert found.constant == ("age",)
    assert "not_identified" in found.fit.concerns
    assert np.isnan(found.fit.coefficients).all()


def test_a_term_that_separates_within_sets_is_named() -> None:
    found = fit(pairs((9, 0)), ["exposed"], "event", "animal")
    assert [item.name for item in found.separated] == ["exposed"]
    assert found.fit.concerns == ("separation", "not_identified")
    assert np.isnan(found.fit.coefficients).all()


@pytest.mark.parametrize(("outcome", "concern"), [(0, "no_events"), (1, "not_identified")])
def test_sets_of_one_outcome_say_nothing(outcome: int, concern: str) -> None:
    same = pairs((2, 2)).with_columns(event=pl.lit(outcome))
    found = fit(same, ["exposed"], "event", "animal")
    assert found.telling == 0
    assert concern in found.fit.concerns


def test_order_and_shift_of_rows_change_nothing() -> None:
    names = ["smoke", "lwt", "ht"]
    moved = BIRTHS.with_columns(pl.col("lwt") + 1_000_000).reverse()
    one, other = fit(BIRTHS, names, "low", "age"), fit(moved, names, "low", "age")
    assert other.fit.coefficients == pytest.approx(one.fit.coefficients, rel=1e-7)
