"""Coded columns say what the columns of text said, and hold no text that stands in no cell."""

import polars as pl
import pytest

from pipeline.intake.coded import (
    MOST_TEXTS,
    SAMPLE,
    as_text,
    coded,
    coded_again,
    coded_column,
    is_coded,
    one_type,
    own_texts,
)


@pytest.mark.parametrize(
    "cells",
    [[], [None], ["a"], [None, "b", "a", "b", ""], *([f"{n % most}" for n in range(2 * most)]
                                                     for most in (255, 256, 257))],
)  # fmt: skip
def test_codes_stand_for_the_texts_in_the_order_of_the_cells(cells: list[str | None]) -> None:
    texts = pl.Series("cell", cells, pl.String)
    codes = coded_column(texts)
    assert is_coded(codes)
    assert codes.cast(pl.String).equals(texts, check_names=True)
    assert own_texts(codes).to_list() == list(dict.fromkeys(texts.drop_nulls()))


def test_the_most_texts_that_two_bytes_can_number_are_coded() -> None:
    most = [*(f"{number}" for number in range(MOST_TEXTS)), *["0"] * MOST_TEXTS]
    codes = coded_column(pl.Series(most))
    assert is_coded(codes)
    assert codes.cast(pl.String).to_list() == most
    assert not is_coded(coded_column(pl.Series([*most, "one more"])))


def test_a_long_column_with_a_text_of_its_own_in_nearly_every_cell_stays_text() -> None:
    own = pl.Series([f"N-{number // 3}" for number in range(60 * SAMPLE)])
    assert not is_coded(coded_column(own))


def test_columns_of_numbers_and_the_order_of_columns_stay() -> None:
    rows = pl.DataFrame({"text": ["a", "a"], "row": [2, 3], "blank": [None, None]},
                        schema_overrides={"blank": pl.String})  # fmt: skip
    codes = coded(rows.clone())
    assert codes.schema["row"] == pl.Int64
    assert as_text(codes).equals(rows)
    assert as_text(codes).schema == rows.schema


def test_a_text_that_was_emptied_is_forgotten() -> None:
    codes = coded_column(pl.Series("cell", ["secret", "a", "a"]))
    left = codes.to_frame().select(pl.when(pl.col("cell") == "a").then("cell").alias("cell"))
    assert own_texts(coded_again(left.to_series())).to_list() == ["a"]


def test_parts_that_are_coded_otherwise_are_put_together_as_text() -> None:
    one, two = (
        coded(pl.DataFrame({"same": ["x", None], "cell": cells})).with_columns(number=pl.lit(1))
        for cells in (["a", "b"], ["b", "c"])
    )
    whole = pl.concat(one_type([one, two]))
    assert whole["cell"].to_list() == ["a", "b", "b", "c"]
    assert whole.schema == {"same": pl.Enum(["x"]), "cell": pl.String, "number": pl.Int32}
    plain = one_type([as_text(one), two])
    assert pl.concat(plain).schema["same"] == pl.String
    assert one_type([]) == []
