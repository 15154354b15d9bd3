"""Titles that stand over several columns: "Operation", "1. Kontrolle", "Follow-up"."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter

from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft, draft_clinic
from pipeline.draft.titles import name_groups
from pipeline.draft.write_toml import mapping_text
from pipeline.intake.study_intake import read_study
from tests.pipeline.draft.drafted import CODEBOOK, settled

TITLES = ("", "", "", "Operation", "", "", "1. Kontrolle", "", "")
NAMES = ("Fallnr", "Tierart", "Bein", "Datum", "Grad", "Chirurg", "gesehen", "Patella", "Lahmheit")
CASES = [
    (f"K{n}", "Hund", "li", f"1{n}.05.2021", "2", "ABC"[n % 3], f"1{n}.08.2021", "stabil", "1")
    for n in range(1, 10)
]


def drafted(folder: Path, *top: tuple[str, ...]) -> Draft:
    """Draft nine cases below these first rows."""
    exports = folder / "exports" / "east"
    exports.mkdir(parents=True)
    lines = [";".join(row) for row in (*top, *CASES)]
    (exports / "cases.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return draft_clinic([exports / "cases.csv"], "east", CODEBOOK)


def columns(draft: Draft) -> dict[str, dict[str, Any]]:
    """Give the columns of each [[table]] by the rows it makes; operations are stifles here."""
    tables = tomllib.loads(mapping_text(draft, CODEBOOK))["table"]
    return {"stifles" if "stifles" in item["make"] else item["make"]: item["columns"]
            for item in tables}  # fmt: skip


def asked(draft: Draft) -> dict[str, str]:
    return {item.what: " / ".join((item.guess, item.evidence, item.do))
            for item in all_doubts(draft)}  # fmt: skip


def assert_a_recheck_is_no_finding_before_surgery(draft: Draft) -> None:
    made = columns(draft)
    assert made["stifles"]["surgery_date"] == "Operation Datum"
    assert made["stifles"]["grade_preop"] == "Operation Grad"
    assert "lameness_preop" not in made["stifles"]
    assert made["rechecks"]["lameness_score"] == "1. Kontrolle Lahmheit"
    assert made["rechecks"]["recheck_day"] == {"column": "1. Kontrolle gesehen", "as": "date"}


def test_titles_over_names_that_do_not_repeat_part_the_columns(tmp_path: Path) -> None:
    draft = drafted(tmp_path, TITLES, NAMES)
    assert_a_recheck_is_no_finding_before_surgery(draft)
    told = asked(draft)["cases.csv: header row"]
    assert told.startswith("rows 1 and 2 together")
    assert 'named by the titles "Operation", "1. Kontrolle"' in told
    settled(draft, tmp_path / "mappings")
    tables = read_study(tmp_path, CODEBOOK).tables
    assert (tables["stifles"].height, tables["rechecks"].height) == (9, 9)
    assert tables["rechecks"]["recheck_day"].to_list() == [92] * 9  # 11 May to 11 August 2021


def test_titles_that_repeat_over_every_name_part_the_columns_too(tmp_path: Path) -> None:
    full = ("Tier",) * 3 + ("Operation",) * 3 + ("1. Kontrolle",) * 3
    draft = drafted(tmp_path, full, NAMES)
    assert_a_recheck_is_no_finding_before_surgery(draft)
    assert draft.sheets[0].grid.n_rows == 9
    assert "repeat over other names" in asked(draft)["cases.csv: header row"]


def test_cells_merged_over_columns_are_titles(tmp_path: Path) -> None:
    exports = tmp_path / "exports" / "east"
    exports.mkdir(parents=True)
    path = exports / "cases.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        page = book.add_worksheet("Knie")
        page.merge_range(0, 3, 0, 5, "Operation")
        page.merge_range(0, 6, 0, 8, "1. Kontrolle")
        for place, row in enumerate((NAMES, *CASES), start=1):
            page.write_row(place, 0, row)
    draft = draft_clinic([path], "east", CODEBOOK)
    assert_a_recheck_is_no_finding_before_surgery(draft)


def test_titles_that_name_no_kind_of_row_are_not_read_and_asked_about(tmp_path: Path) -> None:
    titles = ("Stammdaten", "", "", "Zz", "", "", "Yy", "", "")
    draft = drafted(tmp_path, titles, NAMES)
    assert draft.sheets[0].grid.header.header_row == 2
    assert columns(draft)["stifles"]["surgery_date"] == "Datum"
    told = asked(draft)["cases.csv: header row"]
    assert 'the titles "Stammdaten", "Zz", "Yy" over it are not read' in told
    assert "write header_row = 1, header_rows = 2 and header_fill = true" in told


@pytest.mark.parametrize("top", [[], [("Operationen der Klinik",)], [("Auszug", "31.12.2023")]])
def test_a_line_above_the_names_is_no_title_of_columns(
    top: list[tuple[str, ...]], tmp_path: Path
) -> None:
    draft = drafted(tmp_path, *top, NAMES)
    assert columns(draft)["stifles"]["surgery_date"] == "Datum"
    assert "cases.csv: header row" not in asked(draft)


@pytest.mark.parametrize(
    ("titles", "named"),
    [(["Operation", "Recheck"], True), (["Patient", "Post-op"], True),
     (["Stammdaten", "Nachkontrolle"], True), (["Patient", "Operation"], False),
     (["Operation"], False), (["Recheck"], False), (["Zz", "Yy"], False)],
)  # fmt: skip
def test_which_titles_part_the_columns(titles: list[str], named: bool) -> None:
    assert name_groups(titles) is named


def test_a_column_of_few_codes_below_the_title_patient_is_not_the_animals_number(
    tmp_path: Path,
) -> None:
    names = ("Patient Case", "Patient Sex", "Side", "Surgery date", "Grade", "Surgeon")
    cases = [(f"Q{n}", ("M", "F", "MN", "FN")[n % 4], "LR"[n % 2], f"{n % 27 + 1}/05/2021", "2",
              "ABC"[n % 3]) for n in range(10, 70)]  # fmt: skip
    exports = tmp_path / "exports" / "east"
    exports.mkdir(parents=True)
    lines = [";".join(row) for row in (names, *cases)]
    (exports / "cases.csv").write_text("\n".join(lines) + "\n", "utf-8")
    made = columns(draft_clinic([exports / "cases.csv"], "east", CODEBOOK))["stifles"]
    assert made["local_animal"] == "Patient Case"
    assert made["sex_neuter"]["column"] == "Patient Sex"
