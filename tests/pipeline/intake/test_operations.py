"""What is known of an operation stands beside each row of its stifle, and nowhere else."""

import polars as pl
import pytest

from pipeline.intake.operations import with_joined

KNOWN = pl.DataFrame({"stifle": ["b", "a", "c"], "no": [2, 1, 3], "side": ["left", None, "right"]})


@pytest.mark.parametrize("keys", [
    ["b", "a", "c"],  # each stifle beside its own
    ["b", "b", "b", "a", "a", "c"],  # visits follow each other, in the order of the operations
    ["a", "a", "b", "b", "b", "c", "c"],  # in another
    ["c", "a", "b", "c", "a"],
    [None, None, "b", "b", None, None, "x", "x"],
    [None],
    ["x"],
    [],
])  # fmt: skip
def test_each_row_finds_its_operation_whatever_the_order(keys: list[str | None]) -> None:
    rows = pl.DataFrame({"stifle": keys}, schema={"stifle": pl.String}).with_row_index("place")
    by_key = {key: rest for key, *rest in KNOWN.rows()}
    joined = with_joined(rows, KNOWN, on="stifle")
    wanted = [(place, key, *by_key.get(key or "", (None, None))) for place, key in enumerate(keys)]
    assert joined.columns == ["place", "stifle", "no", "side"]
    assert joined.rows() == wanted


def test_without_an_operation_nothing_is_known_of_any_row() -> None:
    rows = pl.DataFrame({"stifle": ["a", "a", "b"]})
    assert with_joined(rows, KNOWN.clear(), on="stifle")["no"].to_list() == [None] * 3


def test_an_operation_that_stands_twice_is_never_chosen_from() -> None:
    rows = pl.DataFrame({"stifle": ["c", "b"]})
    with pytest.raises(AssertionError, match="stands twice"):
        with_joined(rows, pl.concat([KNOWN, KNOWN]), on="stifle")
