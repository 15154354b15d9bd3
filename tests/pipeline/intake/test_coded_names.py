"""What is missing or dated is named by codes; text finds it all the same."""

import polars as pl

from pipeline.intake.account import missing_rows
from pipeline.intake.mapped import MISSING_CELL, MISSING_SCHEMA, cell_names, numbered
from schemas.codebook import read_codebook

WEIGHT = next(item for item in read_codebook() if item.name == "weight_kg")


def missing(values: list[float | None], reasons: list[str | None]) -> pl.DataFrame:
    rows = pl.DataFrame(
        {"row_no": range(1, len(values) + 1), "weight_kg": values, "miss:weight_kg": reasons},
        schema={"row_no": pl.UInt32, "weight_kg": pl.Float64, "miss:weight_kg": pl.String},
    )  # fmt: skip
    found = missing_rows(rows, "stifles", [WEIGHT], "north")
    assert found.schema == MISSING_SCHEMA
    return found


def test_only_blank_cells_with_a_reason_are_named() -> None:
    found = missing([None, None, 3.5, 4.0], ["not_recorded", None, "not_recorded", None])
    assert found.rows() == [("north", "stifles", 1, "weight_kg", "not_recorded")]


def test_a_column_without_a_value_names_every_row() -> None:
    assert missing([None, None], ["not_examined"] * 2)["row_no"].to_list() == [1, 2]


def test_a_filled_column_an_unexplained_one_and_an_empty_table_name_none() -> None:
    assert missing([1.0, 2.0], ["not_recorded"] * 2).is_empty()
    assert missing([None, None], [None, None]).is_empty()
    assert missing([], []).is_empty()


def test_cells_named_by_text_are_found() -> None:
    found = missing([None, None], ["not_recorded"] * 2)
    cells = pl.DataFrame({
        "row_id": ["north/stifles/2", "north/stifles/2", "north/animals/1",
                   "north/stifles/1/reluxation"],
        "variable": ["weight_kg", "breed", "weight_kg", "weight_kg"],
    })  # fmt: skip
    left = found.join(numbered(cell_names(cells)), on=MISSING_CELL, how="anti")
    assert left["row_no"].to_list() == [1]
    assert found.filter(variable="weight_kg", table="stifles").height == 2
    assert found.filter(variable="breed").is_empty()
