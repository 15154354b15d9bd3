"""What is made of distinct rows and spread is what is made of each row."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.coded import as_text, coded
from pipeline.intake.distinct import TRIED, distinct_rows, spread


def made_of(rows: pl.DataFrame) -> pl.DataFrame:
    """Make a copy, a text, a flag and a constant of each row."""
    return rows.select(
        copy=pl.nth(0), raw=pl.nth(0), upper=pl.nth(0).str.to_uppercase(),
        blank=pl.nth(0).is_null(), one=pl.lit("x"), none=pl.lit(None, pl.Int64),
    )  # fmt: skip


def hold_equal(rows: pl.DataFrame) -> bool:
    found = distinct_rows(rows, rows.columns)
    if found is None:
        return False
    made = spread(made_of(found.rows), found)
    wanted = made_of(as_text(rows))
    assert as_text(made).equals(wanted)
    assert made.drop("raw").schema == wanted.drop("raw").schema
    assert found.rows.height <= rows.height + 1  # codes bring their texts, and a blank
    return True


@settings(max_examples=100, deadline=None)
@given(
    cells=st.lists(st.tuples(
        st.sampled_from(["a", "B", "", None]), st.sampled_from(["a", None]), st.integers(1, 6)
    ), max_size=30)
)  # fmt: skip
def test_any_rows_come_back_as_they_were(cells: list[tuple[str | None, str | None, int]]) -> None:
    rows = pl.DataFrame(
        [(one, two) for one, two, times in cells for _ in range(times)],
        schema={"one": pl.String, "two": pl.String}, orient="row",
    )  # fmt: skip
    codes = coded(rows.clone())
    for read in (rows, codes, codes.with_columns(rows["two"])):
        hold_equal(read)
        hold_equal(read.select("one"))
        hold_equal(read.filter(pl.col("two").is_null()).select("one"))


@pytest.mark.parametrize(("times", "taken"), [(1, False), (2, True), (3, True), (40, True)])
def test_texts_that_repeat_one_below_the_other_are_taken_together(times: int, taken: bool) -> None:
    codes = [None if number % 7 == 0 else f"N-{number // times}" for number in range(3 * TRIED)]
    runs = pl.DataFrame({"code": codes}).with_columns(pl.col("code").backward_fill())
    assert hold_equal(runs) == taken


def test_few_texts_in_any_order_are_taken_together() -> None:
    assert hold_equal(pl.DataFrame({"code": [f"{number % 50}" for number in range(3 * TRIED)]}))


def test_texts_as_received_stay_the_codes_they_are() -> None:
    codes = coded(pl.DataFrame({"code": ["a", "b", None, "a"]}))
    found = distinct_rows(codes, ["code"])
    assert found is not None
    assert found.rows["code"].to_list() == ["a", "b", None]
    made = spread(made_of(found.rows), found)
    assert made.schema["raw"] == codes.schema["code"]
    assert made.schema["copy"] == pl.String
