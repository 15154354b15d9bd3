"""Rows that stand twice: equality decides, never a hash."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.rules.repeated import repeated

CELL = st.sampled_from(["", "a", "b", None])
DAY = st.sampled_from([-1, 0, 7, None])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(CELL, CELL, DAY), max_size=12))
def test_the_rows_that_stand_twice_are_those_equal_in_every_column(
    rows: list[tuple[str | None, str | None, int | None]],
) -> None:
    schema = {"a": pl.String, "b": pl.String, "day": pl.Int64}
    frame = pl.DataFrame(rows, schema=schema, orient="row").with_row_index("place")
    wanted = [place for place, row in enumerate(rows) if rows.count(row) > 1]
    assert repeated(frame, ["a", "b", "day"])["place"].to_list() == wanted


@pytest.mark.parametrize("columns", [["a"], ["a", "b"]])
def test_texts_swapped_between_columns_are_not_the_same(columns: list[str]) -> None:
    frame = pl.DataFrame({"a": ["x", "y"], "b": ["y", "x"]})
    assert repeated(frame, columns).is_empty()


@pytest.mark.parametrize(("texts", "places"), [
    (["a", "b", "c"], []), (["a", "b", "b"], [1, 2]), (["c", "b", "a"], []),
    (["a", None, None], [1, 2]), ([None, "a", "b"], []),
])  # fmt: skip
@pytest.mark.parametrize("dtype", [pl.String, pl.Enum(["c", "a", "b"])])
def test_an_order_of_the_rows_does_not_hide_those_that_stand_twice(
    texts: list[str | None], places: list[int], dtype: pl.DataType
) -> None:
    frame = pl.DataFrame({"clinic": "north", "a": pl.Series(texts, dtype=dtype)})
    found = repeated(frame.with_row_index("place"), ["clinic", "a"])
    assert found["place"].to_list() == places
