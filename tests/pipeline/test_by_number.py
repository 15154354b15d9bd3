"""One value per number: the same as grouping gives, whatever is blank, absent or out of order."""

import polars as pl
import pytest

from pipeline.by_number import at_rows, greatest, least, marked, placed, places, put

NUMBERS = pl.Series([2, 0, 2, 2, 5, 0], dtype=pl.Int64)
DAYS = pl.Series([30, None, -4, 12, None, 7], dtype=pl.Int64)
HEIGHT = 7


def grouped(how: pl.Expr) -> list[int | None]:
    found = dict(pl.DataFrame({"no": NUMBERS, "day": DAYS}).group_by("no").agg(how).rows())
    return [found.get(number) for number in range(HEIGHT)]


def test_extremes_are_those_of_groups_and_blank_where_nothing_is_known() -> None:
    assert greatest(NUMBERS, DAYS, HEIGHT).to_list() == grouped(pl.col("day").max())
    assert least(NUMBERS, DAYS, HEIGHT).to_list() == grouped(pl.col("day").min())
    assert least(NUMBERS, DAYS, HEIGHT).to_list() == [7, None, -4, None, None, None, None]


@pytest.mark.parametrize("numbers", [[], [0, 3]])
def test_without_a_known_value_all_is_blank(numbers: list[int]) -> None:
    number = pl.Series(numbers, dtype=pl.Int64)
    nothing = pl.Series([None] * len(numbers), dtype=pl.Int64)
    assert greatest(number, nothing, 4).to_list() == [None] * 4
    assert greatest(number, nothing, 4).dtype == pl.Int32


def test_marks_are_at_the_numbers_listed() -> None:
    assert marked(pl.Series([2, 0, 2]), 4).to_list() == [True, False, True, False]
    assert marked(pl.Series([], dtype=pl.Int64), 2).to_list() == [False, False]


def test_rows_are_put_by_their_number_and_those_without_one_are_left_out() -> None:
    frame = pl.DataFrame({
        "side": ["left", "right", None, "left"], "grade": [3, None, 1, 2],
        "blank": pl.Series([None] * 4, dtype=pl.String),
    })  # fmt: skip
    numbers = pl.Series([4, None, 0, 1], dtype=pl.UInt32)
    assert places(numbers, 5).to_list() == [2, 3, None, None, 0]
    made = placed(frame, numbers, 5)
    assert made.schema == frame.schema
    assert made.rows() == [(None, 1, None), ("left", 2, None), (None,) * 3, (None,) * 3,
                          ("left", 3, None)]  # fmt: skip


def test_as_many_rows_as_numbers_are_not_taken_to_be_in_order() -> None:
    frame = pl.DataFrame({"side": ["a", "b", "c"]})
    assert placed(frame, pl.Series([0, 1, 2]), 3)["side"].to_list() == ["a", "b", "c"]
    assert placed(frame, pl.Series([2, 1, 0]), 3)["side"].to_list() == ["c", "b", "a"]
    assert placed(frame, pl.Series([0, None, 2]), 3)["side"].to_list() == ["a", None, "c"]


def test_no_rows_at_all_give_blanks_of_the_same_kind() -> None:
    frame = pl.DataFrame(schema={"side": pl.String, "grade": pl.Int64})
    made = placed(frame, pl.Series([], dtype=pl.Int64), 2)
    assert made.schema == frame.schema
    assert made.rows() == [(None, None)] * 2


def test_numbers_are_put_at_their_rows() -> None:
    numbers, rows = pl.Series([7, 8]), pl.Series([2, 0])
    assert put(numbers, rows, 3).to_list() == [8, None, 7]
    assert put(numbers, pl.Series([1, 0]), 2).to_list() == [8, 7]
    assert put(numbers.clear(), rows.clear(), 2).to_list() == [None, None]


def test_blank_columns_come_along() -> None:
    frame = pl.DataFrame({"code": ["a", "b"], "grade": pl.Series([None, None], dtype=pl.Int64)})
    for rows in ([1, 0, 1], [0], []):
        places = pl.Series(rows, dtype=pl.UInt32)
        assert at_rows(frame, places).equals(frame.select(pl.all().gather(places)))
    assert at_rows(frame.clear(), pl.Series([], dtype=pl.UInt32)).equals(frame.clear())


@pytest.mark.parametrize("texts", [False, True])
def test_few_rows_of_many_numbers_stand_at_their_numbers(texts: bool) -> None:
    kinds = {"way": pl.Enum(["medial", "lateral"]), "day": pl.Int32, "ratio": pl.Float64,
             "out": pl.Boolean, "blank": pl.Int32}  # fmt: skip
    frame = pl.DataFrame({"way": ["lateral", None, "medial"], "day": [7, 8, None],
                          "ratio": [None, 0.5, 0.25], "out": [True, None, False],
                          "blank": [None] * 3}, schema=kinds)  # fmt: skip
    if texts:
        frame = frame.with_columns(code=pl.Series(["a", None, "c"]))
    made = placed(frame, pl.Series([11, None, 2], dtype=pl.UInt32), 16)
    blank = (None,) * frame.width
    assert made.schema == frame.schema
    assert made.rows() == [{2: frame.row(2), 11: frame.row(0)}.get(row, blank) for row in range(16)]
