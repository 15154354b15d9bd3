"""The gate: what an accepted table must be."""

from datetime import date

import pandera.polars as pa
import polars as pl
import pytest

from schemas.codebook import CANONICAL_TABLES, of_table, read_codebook
from schemas.tables import gate, table_schema

BOOK = read_codebook()
GOOD: dict[str, object] = {
    "clinic_id": "n", "local_stifle": "A:left", "local_animal": "A", "side": "left",
    "surgery_date": date(2020, 1, 1), "weight_kg": 9.0,
}  # fmt: skip


def stifles(*rows: dict[str, object]) -> pl.DataFrame:
    schema = {item.name: item.dtype for item in of_table(BOOK, "stifles")}
    return pl.DataFrame(list(rows), schema=schema, orient="row")


@pytest.mark.parametrize("table", CANONICAL_TABLES)
def test_an_empty_table_passes(table: str) -> None:
    schema = {item.name: item.dtype for item in of_table(BOOK, table)}
    gate(pl.DataFrame(schema=schema), table_schema(BOOK, table))


def test_a_good_row_passes() -> None:
    gate(stifles(GOOD), table_schema(BOOK, "stifles"))


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([GOOD | {"weight_kg": 120.0}], "0.8 to 100 kg"),
        ([GOOD | {"side": None}], "not_nullable"),
        ([GOOD | {"weight_kg": float("nan")}], "0.8 to 100 kg"),
        ([GOOD, GOOD | {"side": "left", "local_stifle": None}], "not_nullable"),
        ([GOOD | {"surgery_date": date(1970, 1, 1)}], "2000-01-01 to 2035-12-31"),
        ([GOOD, GOOD | {"side": "right"}], "multiple_fields_uniqueness"),
    ],
)
def test_a_planted_bad_row_is_stopped(rows: list[dict[str, object]], says: str) -> None:
    with pytest.raises(AssertionError, match=says):
        gate(stifles(*rows), table_schema(BOOK, "stifles"))


@pytest.mark.parametrize("words", [
    pl.String(), pl.Enum(["right", "left"]), pl.Enum(["left", "right", "both"]),
])  # fmt: skip
def test_a_category_holds_codes_of_exactly_the_declared_words(words: pl.DataType) -> None:
    schema = table_schema(BOOK, "stifles")
    assert stifles(GOOD).schema["side"] == pl.Enum(["left", "right"])
    with pytest.raises(AssertionError, match=r"side.*dtype"):
        gate(stifles(GOOD).with_columns(pl.col("side").cast(words)), schema)


def test_text_is_not_coerced_to_a_number() -> None:
    text = stifles(GOOD).with_columns(pl.col("weight_kg").cast(pl.String))
    with pytest.raises(AssertionError, match="dtype"):
        gate(text, table_schema(BOOK, "stifles"))


def test_columns_are_those_declared() -> None:
    schema = table_schema(BOOK, "stifles")
    with pytest.raises(AssertionError, match="column_in_schema"):
        gate(stifles(GOOD).with_columns(colour=pl.lit("brown")), schema)
    with pytest.raises(AssertionError, match="column_in_dataframe"):
        gate(stifles(GOOD).drop("weight_kg"), schema)


def test_a_check_that_the_quick_look_does_not_know_is_left_to_the_validation() -> None:
    schema = table_schema(BOOK, "stifles")
    light = schema.update_column("weight_kg", checks=[pa.Check.lt(20, error="light")])
    gate(stifles(GOOD), light)
    with pytest.raises(AssertionError, match="light"):
        gate(stifles(GOOD | {"weight_kg": 30.0}), light)


def test_a_table_nobody_declared_has_no_schema() -> None:
    with pytest.raises(KeyError):
        table_schema(BOOK, "horses")
