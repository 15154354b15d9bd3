"""Each row finds the row of another table that has its key, in whatever order rows stand."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.rules.row_places import Places, find_places, starts_of_runs

CLINICS = ("n", "s")
CODES = ("a", "b", "c", "a:left")
KEY = st.tuples(st.sampled_from([*CLINICS, None]), st.sampled_from([*CODES, "z", None]))
Key = tuple[str | None, str | None]


def frame(keys: list[Key]) -> pl.DataFrame:
    return pl.DataFrame(keys, schema={"clinic": pl.String, "code": pl.String}, orient="row")


def numbers(places: Places, height: int) -> list[int | None]:
    return places.take(pl.int_range(height, eager=True)).to_list()


@settings(max_examples=80, deadline=None)
@given(st.lists(KEY, max_size=12), st.lists(KEY, max_size=8, unique=True), st.integers(1, 4))
def test_each_key_finds_its_row_and_a_blank_finds_none(
    keys: list[Key], rows: list[Key], times: int
) -> None:
    every = [key for key in keys for _ in range(times)]  # some follow each other
    wanted = [rows.index(key) if key in rows and None not in key else None for key in every]
    assert numbers(find_places(frame(every), frame(rows)), len(rows)) == wanted


@settings(max_examples=80, deadline=None)
@given(st.lists(KEY, max_size=6), st.sampled_from([*CLINICS, None]))
def test_a_run_starts_where_a_key_is_not_that_of_the_row_above(
    keys: list[Key], clinic: str | None
) -> None:
    """Also where all are of one clinic, whose column takes no room."""
    wanted = [row == 0 or key != keys[row - 1] for row, key in enumerate(keys)]
    assert starts_of_runs(frame(keys)).to_list() == wanted
    of_one = frame(keys).with_columns(pl.lit(clinic, pl.String).alias("clinic"))
    wanted = [row == 0 or key[1] != keys[row - 1][1] for row, key in enumerate(keys)]
    assert starts_of_runs(of_one).to_list() == wanted
    assert starts_of_runs(of_one.select("clinic")).to_list() == [
        row == 0 for row in range(len(keys))
    ]


@pytest.mark.parametrize("keys", [[], [("n", "a")], [("n", "a"), ("n", "b")]])
def test_the_same_keys_in_the_same_order_stand_alike(keys: list[Key]) -> None:
    found = find_places(frame(keys), frame(keys))
    assert (found.numbers is None) == bool(keys)
    assert numbers(found, len(keys)) == list(range(len(keys)))


def test_places_lead_on_to_the_rows_of_a_third_table() -> None:
    of_stifles = Places(numbers=pl.Series([1, 0, None], dtype=pl.UInt32))
    of_visits = Places(numbers=pl.Series([2, 1, None, 0], dtype=pl.UInt32))
    alike = Places(numbers=None)
    assert numbers(of_stifles.of(of_visits), 2) == [None, 0, None, 1]
    assert numbers(alike.of(of_visits), 3) == numbers(of_visits, 3)
    assert numbers(of_stifles.of(alike), 2) == numbers(of_stifles, 2)
    assert numbers(of_visits.only(pl.Series([0, 3], dtype=pl.UInt32)), 3) == [2, 0]
    assert numbers(alike.only(pl.Series([2, 0], dtype=pl.UInt32)), 3) == [2, 0]
