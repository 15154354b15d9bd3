import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.describe import (
    level_counts,
    quartiles,
    standardised_difference,
    standardised_difference_of_levels,
)

levels = st.lists(st.sampled_from("abc"), min_size=1, max_size=30)


def test_quartiles_use_type_seven_and_count_what_is_missing() -> None:
    """R: quantile(c(1, 2, 4, 8), type = 7) is 1.75, 3, 5."""
    found = quartiles(pl.Series([8.0, None, 1, 4, 2, None]))
    assert (found.low, found.median, found.high) == (1.75, 3.0, 5.0)
    assert (found.n, found.n_missing) == (4, 2)


def test_quartiles_of_nothing_are_no_number() -> None:
    found = quartiles(pl.Series([None, None], dtype=pl.Float64))
    assert np.isnan(found.median)
    assert (found.n, found.n_missing) == (0, 2)


def test_levels_are_counted_in_the_order_given_with_absent_ones_as_nil() -> None:
    found = level_counts(pl.Series(["b", "a", None, "b"]), ("a", "b", "c"))
    assert [(item.level, item.count) for item in found] == [("a", 1), ("b", 2), ("c", 0)]
    assert found[1].share == pytest.approx(2 / 3)
    assert {(item.n, item.n_missing) for item in found} == {(3, 1)}


def test_undeclared_level_is_refused_instead_of_lost() -> None:
    with pytest.raises(ValueError, match="levels must hold every value, got 'd'"):
        level_counts(pl.Series(["a", "d"]), ("a",))


def test_difference_of_numbers_by_hand() -> None:
    """Means 3 and 1, variances 4 and 2: 2 / sqrt(3). Austin 2009."""
    exposed, reference = pl.Series([1.0, 3, 5]), pl.Series([0.0, 1, 2, None])
    found = standardised_difference(exposed, pl.Series([0.0, 2, None]))
    assert found.estimate == pytest.approx(2 / np.sqrt((4 + 2) / 2))
    assert standardised_difference(exposed, reference).reference_n == 3


def test_difference_of_booleans_uses_the_binomial_variance() -> None:
    exposed, reference = pl.Series([True, True, True, False]), pl.Series([True, False])
    expected = 0.25 / np.sqrt((0.75 * 0.25 + 0.5 * 0.5) / 2)
    assert standardised_difference(exposed, reference).estimate == pytest.approx(expected)


@given(
    exposed=st.lists(st.booleans(), min_size=1, max_size=40),
    reference=st.lists(st.booleans(), min_size=1, max_size=40),
)
def test_two_levels_are_a_boolean_without_sign(exposed: list[bool], reference: list[bool]) -> None:
    """Yang & Dalton 2012: with two levels the distance is the absolute binary difference."""
    plain = standardised_difference(pl.Series(exposed), pl.Series(reference))
    text = standardised_difference_of_levels(
        pl.Series(exposed).cast(pl.String), pl.Series(reference).cast(pl.String)
    )
    if np.isnan(plain.estimate):
        assert text.concerns == plain.concerns == ("no_overlap",)
    else:
        assert text.estimate == pytest.approx(abs(plain.estimate), abs=1e-9)


@given(exposed=levels, reference=levels)
def test_distance_of_levels_does_not_hang_on_their_names(
    exposed: list[str], reference: list[str]
) -> None:
    renamed = {"a": "z", "b": "a", "c": "m"}
    found = standardised_difference_of_levels(pl.Series(exposed), pl.Series(reference))
    other = standardised_difference_of_levels(
        pl.Series([renamed[x] for x in exposed]), pl.Series([renamed[x] for x in reference])
    )
    back = standardised_difference_of_levels(pl.Series(reference), pl.Series(exposed))
    np.testing.assert_allclose(
        [found.estimate] * 2, [other.estimate, back.estimate], rtol=1e-6, equal_nan=True
    )
    assert np.isnan(found.estimate) or found.estimate >= 0


def test_arms_with_no_level_in_common_have_no_distance() -> None:
    found = standardised_difference_of_levels(pl.Series(["a", "a"]), pl.Series(["b", "b"]))
    assert np.isnan(found.estimate)
    assert found.concerns == ("no_overlap",)
    assert standardised_difference(pl.Series([1.0]), pl.Series([2.0, 3])).concerns == ("too_few",)
