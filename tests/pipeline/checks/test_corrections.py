"""Corrections change the cell they name where its old text stands; nothing else."""

import csv
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pipeline.check import check
from pipeline.corrections import Corrected, correct
from pipeline.corrections_file import COLUMNS, read_corrections
from pipeline.intake.mapped import DATE_SCHEMA, Mapped
from schemas.codebook import Variable
from shared.errors import InputFileError
from tests.pipeline.invented import planned

Codebook = tuple[Variable, ...]
Build = Callable[..., Mapped]
WEIGHT = {
    "query_id": "Q-1", "clinic": "north", "table": "stifles", "animal": "A-2", "side": "left",
    "variable": "weight_kg", "old_raw": "120.0", "new": "12,5", "decision": "corrected",
    "reason": "typing error", "who": "coordinator", "when": "2026-01-05",
}  # fmt: skip


def written(folder: Path, *rows: dict[str, str]) -> Path:
    path = folder / "corrections.csv"
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, COLUMNS, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def apply(folder: Path, mapped: Mapped, codebook: Codebook, *rows: dict[str, str]) -> Corrected:
    return correct(mapped, read_corrections(written(folder, *rows), codebook), codebook)


def test_a_study_without_corrections_has_none(tmp_path: Path, codebook: Codebook) -> None:
    assert read_corrections(tmp_path / "corrections.csv", codebook) == ()


def test_a_correction_changes_its_cell_alone(tmp_path: Path, build: Build, codebook: Codebook
                                             ) -> None:  # fmt: skip
    study = build({"stifles": {2: {"weight_kg": 120.0}}})
    corrected = apply(tmp_path, study, codebook, WEIGHT)
    assert (corrected.applied, corrected.silenced, corrected.stale) == (1, 0, 0)
    assert corrected.mapped.tables["stifles"]["weight_kg"].to_list() == [12.0, 12.0, 12.5]
    others = pl.exclude("weight_kg", "raw:weight_kg")
    assert (
        corrected.mapped.tables["stifles"]
        .select(others)
        .equals(study.tables["stifles"].select(others))
    )
    assert check(corrected.mapped, codebook).findings.is_empty()


@pytest.mark.parametrize(
    ("change", "says"),
    [({"old_raw": "119"}, 'the cell now says "120.0"'),
     ({"animal": "A-7"}, "this row is no longer in the export")],
)  # fmt: skip
def test_a_correction_of_another_text_is_reported_not_applied(
    tmp_path: Path, build: Build, codebook: Codebook, change: dict[str, str], says: str
) -> None:
    study = build({"stifles": {2: {"weight_kg": 120.0}}})
    corrected = apply(tmp_path, study, codebook, WEIGHT | change)
    assert corrected.stale == 1
    assert corrected.mapped.tables["stifles"]["weight_kg"].to_list()[2] == 120.0
    finding = corrected.mapped.findings.row(0, named=True)
    assert finding["rule"] == "K01"
    assert says in finding["says"]


def test_a_confirmation_silences_its_question_while_the_cell_stands(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    study = build({"stifles": {2: {"weight_kg": 60.0}}})
    confirmed = WEIGHT | {"decision": "confirmed", "old_raw": "60.0", "new": ""}
    kept = apply(tmp_path, study, codebook, confirmed)
    assert (kept.silenced, kept.confirmed) == (1, frozenset({"Q-1"}))
    gone = apply(tmp_path, build(), codebook, confirmed)
    assert (gone.stale, gone.confirmed) == (1, frozenset())


def test_a_question_of_intake_is_answered_by_a_correction(tmp_path: Path, build: Build,
                                                          codebook: Codebook) -> None:  # fmt: skip
    told = {"rule": "M01", "action": "hold", "clinic_id": "north", "table": "rechecks",
            "row_id": "north/rechecks/6", "variable": "patella_grade",
            "value": "so-so"}  # fmt: skip
    study = build({"rechecks": {5: {"patella_grade": None}}}, found=[told],
                  raw={"north/rechecks/6/patella_grade": "so-so"})  # fmt: skip
    grade = WEIGHT | {"table": "rechecks", "day": "180", "variable": "patella_grade",
                      "old_raw": "so-so", "new": "stable"}  # fmt: skip
    corrected = apply(tmp_path, study, codebook, grade)
    assert corrected.mapped.tables["rechecks"]["patella_grade"].to_list()[5] == 0
    assert corrected.mapped.findings.is_empty()


def test_a_corrected_date_of_surgery_moves_the_days_counted_from_dates(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    study = build()
    dated = {"clinic_id": "north", "table": "rechecks", "row_id": "north/rechecks/5",
             "variable": "recheck_day", "on": date(2022, 7, 1), "counted_from": "this"}  # fmt: skip
    study = replace(study, dates=pl.DataFrame([dated], schema=dict(DATE_SCHEMA), orient="row"))
    surgery = WEIGHT | {"variable": "surgery_date", "old_raw": "2022-05-20", "new": "2022-05-10"}
    days = apply(tmp_path, study, codebook, surgery).mapped.tables["rechecks"]["recheck_day"]
    assert days.to_list()[4:] == [52, 180]


def test_a_day_may_be_corrected_by_a_date(tmp_path: Path, build: Build, codebook: Codebook
                                          ) -> None:  # fmt: skip
    visit = WEIGHT | {"table": "rechecks", "day": "180", "variable": "recheck_day",
                      "old_raw": "180", "new": "2022-08-28"}  # fmt: skip
    days = apply(tmp_path, build(), codebook, visit).mapped.tables["rechecks"]["recheck_day"]
    assert days.to_list()[4:] == [42, 100]


def test_a_corrected_day_is_no_longer_a_planned_one(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    marked = ("north/rechecks/5", "north/rechecks/6")
    marks = planned(dict.fromkeys(marked, 7))
    study = replace(build(raw={"north/rechecks/5/recheck_day": "6 weeks"}), marks=marks)
    day = WEIGHT | {"table": "rechecks", "day": "42", "variable": "recheck_day",
                    "old_raw": "6 weeks", "new": "45"}  # fmt: skip
    corrected = apply(tmp_path, study, codebook, day).mapped
    assert corrected.tables["rechecks"]["recheck_day"].to_list()[4] == 45
    assert corrected.marks["row_id"].to_list() == ["north/rechecks/6"]


def test_a_corrected_side_takes_along_what_came_from_the_same_row(
    tmp_path: Path, build: Build, codebook: Codebook
) -> None:
    place = {"file": "all.csv", "row": 9}
    study = build({"stifles": {2: {"side": None, "local_stifle": "A-2:?"} | place},
                   "procedures": {2: {"local_stifle": "A-2:?"} | place}},
                  raw={"north/stifles/3/side": "both?"})  # fmt: skip
    side = WEIGHT | {"side": "", "variable": "side", "old_raw": "both?", "new": "Left"}
    tables = apply(tmp_path, study, codebook, side).mapped.tables
    assert tables["stifles"]["local_stifle"].to_list()[2] == "A-2:left"
    assert tables["procedures"]["local_stifle"].to_list()[2] == "A-2:left"


def test_a_side_may_be_given_for_the_row_of_a_recheck(tmp_path: Path, build: Build,
                                                      codebook: Codebook) -> None:  # fmt: skip
    study = build({"rechecks": {5: {"local_stifle": "A-2:?"}}},
                  raw={"north/rechecks/6/local_stifle": "A-2 ?"})  # fmt: skip
    side = WEIGHT | {"table": "rechecks", "side": "", "day": "180", "variable": "local_stifle",
                     "old_raw": "A-2 ?", "new": "left"}  # fmt: skip
    corrected = apply(tmp_path, study, codebook, side)
    assert check(corrected.mapped, codebook).findings.is_empty()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"variable": "weigth_kg"}, 'Did you mean "stifles.weight_kg"'),
        ({"decision": "maybe"}, 'the decision "maybe" is not known'),
        ({"new": "heavy"}, '"heavy" is no value of stifles.weight_kg'),
        ({"new": ""}, '"" is no value'),
        ({"variable": "side", "new": "both"}, "Give left, right."),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_row(
    tmp_path: Path, codebook: Codebook, change: dict[str, str], says: str
) -> None:
    path = written(tmp_path, WEIGHT, WEIGHT | change)
    with pytest.raises(InputFileError) as error:
        read_corrections(path, codebook)
    assert says in str(error.value)
    assert "corrections.csv, row 3" in str(error.value)


def test_a_missing_column_is_named_in_one_message(tmp_path: Path, codebook: Codebook) -> None:
    path = tmp_path / "corrections.csv"
    path.write_text("clinic,table\nnorth,stifles\n", "utf-8")
    with pytest.raises(InputFileError, match='the column "query_id" is missing'):
        read_corrections(path, codebook)
