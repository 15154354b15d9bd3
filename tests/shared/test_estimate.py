"""The results table refuses what would mislead."""

import math

import pytest

from shared.estimate import Estimate, results_frame


def test_row_id_says_what_the_row_is_about() -> None:
    frame = results_frame([Estimate(analysis="primary", measure="risk", group="block", day=365.0)])
    assert frame["row_id"][0] == "primary///risk//block//365"


def test_two_rows_about_the_same_thing_are_refused() -> None:
    row = Estimate(analysis="primary", measure="risk", estimate=0.1)
    with pytest.raises(ValueError, match="same thing"):
        results_frame([row, row])


@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_a_number_that_is_not_one_is_refused(number: float) -> None:
    with pytest.raises(ValueError, match="not finite"):
        results_frame([Estimate(analysis="primary", measure="risk", estimate=number)])


def test_a_concern_without_words_is_refused() -> None:
    with pytest.raises(ValueError, match="without a text"):
        results_frame([Estimate(analysis="primary", measure="risk", concerns=("mystery",))])
