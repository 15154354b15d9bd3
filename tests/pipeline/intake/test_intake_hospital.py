"""An English hospital's three files: a row per stifle, roman grades, both sides on one day."""

from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.intake.mapped import Mapped

DATA = Path(__file__).parent / "data" / "hospital"
STIFLES, RECHECKS, COMPLICATIONS = (
    (DATA / f"{name}.csv").read_text("utf-8") for name in ("stifles", "rechecks", "complications")
)
FILES = {"stifles.csv": STIFLES, "rechecks.csv": RECHECKS, "complications.csv": COMPLICATIONS}
MAPPING = (DATA / "mapping.toml").read_text("utf-8")
Read = Callable[[dict[str, str], str], Mapped]


@pytest.fixture
def hospital(map_export: Read) -> Mapped:
    return map_export(FILES, MAPPING)


def of(mapped: Mapped, table: str, *columns: str) -> list[tuple[object, ...]]:
    return mapped.tables[table].select(columns).rows()


def test_two_sides_of_one_day_are_two_stifles_of_one_animal(hospital: Mapped) -> None:
    assert of(hospital, "stifles", "local_stifle", "row")[:2] == [
        ("A-0104:left", 2), ("A-0104:right", 3),
    ]  # fmt: skip
    assert of(hospital, "animals", "local_animal", "species") == [
        ("A-0104", "dog"),
        ("A-0131", "cat"),
    ]


def test_half_grades_take_the_higher_and_are_told(hospital: Mapped) -> None:
    assert of(hospital, "stifles", "grade_preop", "raw:grade_preop")[2] == (3, "II-III")
    told = hospital.findings.filter(rule="M10")
    assert told.select("action", "row", "column", "value").rows() == [
        ("derive", 4, "MPL grade", "II-III")
    ]


def test_lameness_of_ten_is_converted_by_the_declared_table_only(hospital: Mapped) -> None:
    assert of(hospital, "stifles", "lameness_preop", "lameness_scale", "raw:lameness_preop") == [
        (2, "zero_to_ten", "4"), (2, "zero_to_ten", "4"), (None, None, "ND"),
    ]  # fmt: skip


def test_a_birth_date_not_recorded_leaves_the_age_missing_with_its_reason(hospital: Mapped) -> None:
    ages = hospital.tables["stifles"]["age_months"]
    assert ages[0] == 27  # 3 February 2019 to 14 May 2021: 831 days, 27.3 months
    assert ages[2] is None
    why = hospital.missing.filter(variable="age_months").select("table", "row_no", "reason").rows()
    assert why == [("stifles", 3, "not_recorded")]


def test_what_an_owner_says_by_phone_is_no_grade(hospital: Mapped) -> None:
    assert of(hospital, "rechecks", "recheck_mode", "patella_grade", "patella_direction") == [
        ("operating_clinic", 0, None), ("operating_clinic", 1, "medial"), ("telephone", None, None),
    ]  # fmt: skip
    why = hospital.missing.filter(variable="patella_grade")["reason"].to_list()
    assert why == ["not_examined"]


def test_dates_become_days_after_the_stifles_surgery(hospital: Mapped) -> None:
    assert of(hospital, "rechecks", "recheck_day") == [(45,), (45,), (14,)]
    assert of(hospital, "complications", "detected_day") == [(45,), (241,), (33,)]


def test_a_treated_minor_event_is_passed_on_as_the_clinic_says(hospital: Mapped) -> None:
    assert of(hospital, "complications", "severity_class", "treatment")[2] == ("minor", "drug")


def test_a_tidy_export_leaves_nothing_to_ask(hospital: Mapped) -> None:
    assert hospital.findings.filter(pl.col("rule") != "M10").is_empty()
    fates = hospital.ledger.select("source_rows", "mapped", "set_aside", "unreadable")
    assert fates.rows() == [(3, 3, 0, 0)] * 3


def test_the_clinics_own_headers_are_kept(hospital: Mapped) -> None:
    header = hospital.columns.filter(table="stifles", variable="weight_kg")["column"].to_list()
    assert header == ["Weight (kg)"]


@pytest.mark.parametrize(
    ("old", "new", "rule", "action", "variable", "value"),
    [
        ("A-0131,Feline", "A-0131,Equine", "M01", "hold", "species", "Equine"),
        (",4.8,", ",4.8 kilo,", "M02", "hold", "weight_kg", "4.8 kilo"),
        (",4.8,", ",4,8,", "M08", "stop", "", ""),
        ("02/11/2021", "11-2021", "M03", "stop", "surgery_date", "11-2021"),
        ("02/11/2021,R", "02/11/2021,X", "M01", "stop", "side", "X"),
        ("02/11/2021,R", "02/11/2021,", "M06", "stop", "local_stifle", "A-0131"),
        (",6/9,", ",6/5,", "M02", "hold", "bcs", "6/5"),
        ("2 pins + TBW", "2 pins + glue", "M05", "hold", "ttt_fixation", "2 pins + glue"),
    ],
)
def test_a_cell_that_is_not_understood_is_a_finding_with_its_text(
    map_export: Read, old: str, new: str, rule: str, action: str, variable: str, value: str
) -> None:
    assert old in STIFLES
    mapped = map_export(FILES | {"stifles.csv": STIFLES.replace(old, new)}, MAPPING)
    found = mapped.findings.filter(rule=rule, action=action, file="stifles.csv")
    assert (variable, value) in found.select("variable", "value").rows()
    assert set(mapped.findings["file"]) <= {*FILES}


def test_a_list_that_is_not_understood_holds_all_it_would_have_said(map_export: Read) -> None:
    broken = STIFLES.replace("2 pins + TBW", "2 pins + glue")
    mapped = map_export(FILES | {"stifles.csv": broken}, MAPPING)
    found = mapped.findings.filter(rule="M05").row(0, named=True)
    assert set(found["holds"].split(",")) == {"kwire_count", "tension_band_done", "ttt_fixation"}
    assert mapped.tables["procedures"]["tension_band_done"].to_list() == [None, None, None]


def test_all_unknown_words_of_a_file_are_listed_with_their_counts(map_export: Read) -> None:
    broken = STIFLES.replace("intact", "fine").replace("Feline", "Equine")
    mapped = map_export(FILES | {"stifles.csv": broken}, MAPPING)
    listed = mapped.findings.filter(rule="M09")
    assert listed["says"].to_list() == [
        'Words without a meaning, with their counts: CrCL: "fine" (2); Species: "Equine" (1).'
    ]


def test_a_short_row_is_unreadable_and_asked_about(map_export: Read) -> None:
    ragged = RECHECKS + "A-0131,R,20/12/2021\n"
    mapped = map_export(FILES | {"rechecks.csv": ragged}, MAPPING)
    assert mapped.findings.filter(rule="M08").select("row", "action").rows() == [(5, "stop")]
    entry = mapped.ledger.filter(file="rechecks.csv")
    assert entry.select("source_rows", "mapped", "unreadable").rows() == [(4, 3, 1)]


def test_rows_that_contradict_each_other_about_an_animal_stay_apart(map_export: Read) -> None:
    broken = STIFLES.replace(
        "Yorkshire Terrier,FN,03/02/2019,14/05/2021,R",
        "Yorkshire Terrier,MN,03/02/2019,14/05/2021,R",
    )
    mapped = map_export(FILES | {"stifles.csv": broken}, MAPPING)
    assert of(mapped, "animals", "local_animal", "sex_neuter", "row")[:2] == [
        ("A-0104", "female_neutered", 2), ("A-0104", "male_neutered", 3),
    ]  # fmt: skip


def test_an_unread_column_and_an_unread_file_are_asked_about(map_export: Read) -> None:
    wider = "\n".join(line + ",x" for line in COMPLICATIONS.splitlines())
    mapped = map_export(FILES | {"complications.csv": wider, "notes.txt": "seen"}, MAPPING)
    found = mapped.findings.filter(pl.col("rule").is_in(["M12", "M13"]))
    assert found.select("rule", "file", "column").rows() == [
        ("M12", "notes.txt", ""), ("M13", "complications.csv", "x"),
    ]  # fmt: skip
