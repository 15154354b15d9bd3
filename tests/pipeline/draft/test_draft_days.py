"""Which column of dates is the day of a row, and which rows of a sheet are reoperations."""

import tomllib
from pathlib import Path

import pytest

from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.mapping_file import read_mapping
from tests.pipeline.draft.drafted import CODEBOOK, settled

OPERATIONS = "Case ID;Species;Side;Date of surgery;Preop grade;{}\n" + "".join(
    f"A{n};Dog;L;1{n}/05/2021;II;{{}}\n" for n in range(1, 9)
)


def drafted(folder: Path, name: str, text: str) -> Draft:
    path = folder / f"{name}.csv"
    path.write_text(text, "utf-8")
    return draft_clinic([path], "east", CODEBOOK)


def columns(draft: Draft, table: str) -> dict[str, object]:
    tables = tomllib.loads(mapping_text(draft, CODEBOOK))["table"]
    return next(item for item in tables if table in item["make"])["columns"]


def asked(draft: Draft) -> dict[str, str]:
    return {item.what: item.do for item in all_doubts(draft)}


@pytest.mark.parametrize(
    ("sheet", "header", "kind", "variable"),
    [("rechecks", "Zz one", "Patella", "recheck_day"),
     ("complications", "Zz two", "Complication", "detected_day"),
     ("revisions", "Zz three", "Revision reason", "revision_day")],
)  # fmt: skip
def test_the_only_column_of_dates_is_proposed_as_the_day(
    sheet: str, header: str, kind: str, variable: str, tmp_path: Path
) -> None:
    text = f"Case ID;Side;{header};{kind}\nA1;L;20/09/2023;in\nA2;R;13/01/2022;in\n"
    draft = drafted(tmp_path, sheet, text)
    assert columns(draft, sheet)[variable] == {"column": header, "as": "date"}
    assert f"{sheet} of {sheet}: {variable}" in asked(draft)


def test_of_several_columns_of_dates_the_fullest_is_proposed(tmp_path: Path) -> None:
    text = "Case ID;Side;Zz;Yy;Patella\nA1;L;;20/09/2023;in\nA2;R;13/01/2022;14/01/2022;in\n"
    draft = drafted(tmp_path, "rechecks", text)
    assert columns(draft, "rechecks")["recheck_day"] == {"column": "Yy", "as": "date"}


def test_a_last_column_of_dates_of_operations_is_proposed_as_end_of_follow_up(
    tmp_path: Path,
) -> None:
    draft = drafted(tmp_path, "ops", OPERATIONS.format("Zz", *["20/09/2023"] * 8))
    found = columns(draft, "stifles")
    assert found["surgery_date"] == "Date of surgery"
    assert found["end_of_followup_day"] == {"column": "Zz", "as": "date"}
    read_mapping(settled(draft, tmp_path / "mappings"), CODEBOOK)


def test_a_day_that_no_column_gives_is_asked_for_as_it_must_be_written(tmp_path: Path) -> None:
    draft = drafted(tmp_path, "rechecks", "Case ID;Side;Patella\nA1;L;in\nA2;R;out\n")
    assert (
        'recheck_day = { column = "…", as = "date" }'
        in asked(draft)["rechecks of rechecks: recheck_day"]
    )


@pytest.mark.parametrize("none", ["-", "–", "n/a"])
def test_a_dash_in_the_cell_of_a_reoperation_makes_none(none: str, tmp_path: Path) -> None:
    text = ("Case ID;Side;Date found;Complication;Reoperation date\n"
            f"A1;L;20/09/2022;seroma;{none}\nA2;R;13/01/2022;reluxation;15/01/2022\n"
            "A3;R;13/01/2022;seroma;\n")  # fmt: skip
    draft = drafted(tmp_path, "complications", text)
    tables = tomllib.loads(mapping_text(draft, CODEBOOK))["table"]
    where = next(item["where"] for item in tables if "revisions" in item["make"])
    assert {"column": "Reoperation date", "filled": True} in where
    assert {"column": "Reoperation date", "is_not": none} in where


def test_a_column_with_some_units_is_read_with_and_without_them(tmp_path: Path) -> None:
    draft = drafted(tmp_path, "ops", OPERATIONS.format("Weight (kg)", *["4.2", "5 kg"] * 4))
    assert columns(draft, "stifles")["weight_kg"] == {
        "column": "Weight (kg)", "unit": {"": "kg", "kg": "kg"},
    }  # fmt: skip
    read_mapping(settled(draft, tmp_path / "mappings"), CODEBOOK)
