"""Rounding: what a reader sees of a number."""

import math

import pytest

from pipeline.report.sentences import difference_words, doubt_sentence
from pipeline.report.text import (
    day_text,
    estimate_and_interval,
    fixed,
    more_or_fewer,
    needed_text,
    p_equation,
    p_text,
)
from shared.estimate import Estimate


def row(measure: str, **fields: object) -> Estimate:
    return Estimate(analysis="a", measure=measure, **fields)  # pyright: ignore[reportArgumentType]


@pytest.mark.parametrize(
    ("p_value", "text"),
    [(1e-05, "<0.001"), (0.0004, "<0.001"), (0.001, "0.001"), (0.0312, "0.03"), (0.0496, "0.050"),
     (0.0512, "0.051"), (0.2, "0.20"), (0.9951, ">0.99"), (1.0, ">0.99"), (None, "")],
)  # fmt: skip
def test_p_values_are_printed_as_journals_do(p_value: float | None, text: str) -> None:
    assert p_text(p_value) == text


def test_p_stands_in_a_sentence_with_its_sign() -> None:
    assert (p_equation(0.00001), p_equation(0.031)) == ("p < 0.001", "p = 0.03")


@pytest.mark.parametrize(
    ("n", "text"), [(99, "12 (8 to 17)"), (100, "12.4 (8.0 to 16.8)"), (None, "12 (8 to 17)")]
)
def test_risks_have_no_decimals_below_a_hundred_stifles(n: int | None, text: str) -> None:
    assert estimate_and_interval(row("risk", estimate=0.124, low=0.08, high=0.168, n=n)) == text


@pytest.mark.parametrize(
    ("estimate", "low", "high", "text"),
    [
        (0.62, 0.414, 0.94, "0.62 (0.41 to 0.94)"),
        (0.11, 0.001, 0.92, "0.11 (<0.01 to 0.92)"),
        (12.31, 1.04, 145.8, "12.3 (1.0 to 145.8)"),
        (150.2, 2.0, 4e9, "150 (2 to over 1000)"),
    ],
)
def test_intervals_have_the_digits_of_their_estimate(
    estimate: float, low: float, high: float, text: str
) -> None:
    assert estimate_and_interval(row("odds_ratio", estimate=estimate, low=low, high=high)) == text


def test_no_number_is_said_in_words() -> None:
    assert estimate_and_interval(row("hazard_ratio")) == "not given"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        fixed(value, 2)


def test_minus_is_a_minus_and_nothing_is_minus_zero() -> None:
    assert (fixed(-3.21, 1), fixed(-0.0001, 1), fixed(3412, 0)) == ("\u22123.2", "0.0", "3,412")


def test_differences_are_said_as_fewer_or_more() -> None:
    assert (more_or_fewer(-0.052), more_or_fewer(0.011), more_or_fewer(0.001)) == (
        "5 fewer", "1 more", "none",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("low", "high", "words", "doubt"),
    [
        (-0.12, 0.003, "(from 12 fewer to none)", "reaches none: these data are too few to be sure "
         "of fewer"),
        (-0.002, 0.08, "(from none to 8 more)", "be sure of more"),
        (-0.07, 0.05, "(from 7 fewer to 5 more)", "fewer as well as more"),
        (-0.12, -0.01, "(from 12 fewer to 1 fewer)", ""),
        (-0.002, 0.003, "(fewer than 1 either way)", ""),
    ],
)  # fmt: skip
def test_the_ends_of_a_difference_are_words(
    low: float, high: float, words: str, doubt: str
) -> None:
    difference = row("risk_difference", estimate=(low + high) / 2, low=low, high=high)
    assert words in difference_words(difference)
    said = doubt_sentence(difference)
    assert doubt in said
    assert bool(doubt) == bool(said)


def test_number_needed_gives_both_arms_when_the_difference_may_be_nil() -> None:
    through = row(
        "number_needed_to_treat", estimate=-20.0, low=100.0, high=-10.0,
        concerns=("interval_through_infinity",),
    )  # fmt: skip
    assert needed_text(through) == (
        "20 treated per one spared (from 10 treated per one spared through infinity to "
        "100 treated per one harmed)"
    )


def test_number_needed_is_rounded_away_from_exaggeration() -> None:
    spared = row("number_needed_to_treat", estimate=-19.2, low=-40.5, high=-12.1)
    harmed = row("number_needed_to_treat", estimate=19.2, low=12.1, high=40.9)
    assert needed_text(spared) == "20 treated per one spared (13 to 41)"
    assert needed_text(harmed) == "19 treated per one harmed (12 to 40)"


def test_days_of_the_definitions_read_as_months() -> None:
    assert [day_text(day) for day in (91, 183, 365, 42)] == [
        "3 months", "6 months", "12 months", "day 42",
    ]  # fmt: skip
