"""Every value of the cohort leads back to cells of the exports, as they were received."""

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.cohort import build_cohort
from pipeline.run import Run, cohort_study
from pipeline.stopped_stifle import why_stopped
from pipeline.trace import Trace, trace
from pipeline.trace_sources import sources_of
from pipeline.trace_text import trace_json, trace_text
from shared.errors import InputFileError
from tests.answering import answer, asked_now
from tests.small_study import small_study

STIFLE = "north:N-0117:left"


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Run:
    folder = small_study(tmp_path_factory.mktemp("traced") / "study")
    return cohort_study(folder, lambda _step: None)


def north(done: Run, row: int, column: str, file: str = "stifles.csv") -> str:
    """Read a cell of the export without the program: row as a spreadsheet shows it."""
    text = (done.study.folder / "exports/north" / file).read_text("utf-8")
    rows = list(csv.reader(text.splitlines()))
    return rows[row - 1][rows[0].index(column)]


def only(found: Trace, source: str) -> Any:
    cells = [cell for cell in found.cells if f"{cell.table}.{cell.variable}" == source]
    assert len(cells) == 1
    return cells[0]


def test_every_column_of_the_cohort_has_sources(done: Run) -> None:
    table = done.the_cohort.table
    without = [name for name in table.columns if not sources_of(name, done.codebook)]
    assert without == []


@pytest.mark.parametrize("clinic", ["north", "valley"])
def test_every_column_of_a_stifle_leads_to_cells_that_stand_in_the_export(
    done: Run, clinic: str
) -> None:
    table = done.the_cohort.table.filter(clinic_id=clinic, set_a=True)
    stifle = table.row(3, named=True)["stifle_id"]
    # Columns with the same sources rest on the same cells.
    by_sources = {sources_of(name, done.codebook): name for name in table.columns}
    for column in by_sources.values():
        found = trace(done, stifle, column)
        assert found.cells, column
        assert all(cell.clinic == clinic and cell.step.place for cell in found.cells), column


def test_raw_texts_are_those_of_the_file(done: Run) -> None:
    found = trace(done, STIFLE, "relux_day")
    from_file = [cell for cell in found.cells if cell.file.endswith(".csv")]
    assert len(from_file) > 10
    for cell in from_file:
        assert cell.row is not None
        assert cell.raw == north(done, cell.row, cell.column, cell.file)


def test_a_held_outcome_names_its_rule_and_the_row_that_is_stopped(done: Run) -> None:
    """The recheck of row 98 is dated after the export (planted in the demo)."""
    found = trace(done, STIFLE, "relux_day")
    assert "R15 holds outcome:all" in found.held
    stopped = [cell for cell in found.cells if cell.row == 98 and cell.variable == "recheck_day"]
    assert stopped[0].raw == "24/06/2026"
    assert "stopped by R15" in stopped[0].marks[0]
    assert "R15 (stop)" in stopped[0].rules[0]


def test_units_and_dialects_are_said(done: Run) -> None:
    stifle = done.the_cohort.table.filter(clinic_id="valley")["stifle_id"][0]
    weight, age = (only(trace(done, stifle, name), f"stifles.{name}")
                   for name in ("weight_kg", "age_months"))  # fmt: skip
    assert weight.column.startswith("KGW ")
    assert weight.step.reads.startswith('number with decimal ","')
    assert age.step.reads.startswith("years to month, times 12")


def test_of_several_columns_the_one_that_spoke_is_named(tmp_path: Path) -> None:
    """Plateau's rechecks have a date, or "s/d" and the time for which they were planned."""
    done = cohort_study(small_study(tmp_path / "study", ("plateau",)), lambda _step: None)
    export = next((done.study.folder / "exports/plateau").iterdir())
    lines = export.read_text("utf-8-sig").splitlines()
    rows = list(csv.DictReader(lines, delimiter="|", quoting=csv.QUOTE_NONE))
    days = done.linked.tables["rechecks"].select("stifle_id", "row").rows()
    planned = [place for place in days if rows[place[1] - 2]["fecha"] == "s/d"]
    assert len(planned) > 10
    stifle, row = planned[0]
    cells = {cell.row: cell for cell in trace(done, stifle, "last_contact_day").cells
             if cell.variable == "recheck_day"}  # fmt: skip
    for number, cell in cells.items():
        assert number is not None
        assert cell.column == ("tiempo" if (stifle, number) in planned else "fecha")
        assert cell.raw == rows[number - 2][cell.column]
    assert cells[row].step.reads.startswith("time with its unit, converted to days")
    assert cells[row].marks == ("nominal by up to 7 days",)


def test_a_correction_shows_the_old_text_and_who_answered(done: Run, tmp_path: Path) -> None:
    folder = small_study(tmp_path / "study")
    query = next(row for row in asked_now(done, "north")
                 if (row["variable"], row["value"]) == ("weight_kg", "129"))  # fmt: skip
    answer(folder, "north", {query["query_id"]: ("corrected", "12.9")}, done=moved(done, folder))
    again = cohort_study(folder, lambda _step: None)
    animal, side = query["animal"].split(", ")
    cell = only(trace(again, f"north:{animal}:{side}", "log_weight_kg"), "stifles.weight_kg")
    assert (cell.raw, cell.value) == ("129", 12.9)
    assert 'corrected to "12.9"' in cell.answers[0]
    assert "practice manager, 2025-05-02" in cell.answers[0]


def moved(done: Run, folder: Path) -> Run:
    """The same run as of a copy of its study."""
    from dataclasses import replace

    return replace(done, study=replace(done.study, folder=folder))


def test_a_birth_date_is_never_shown(done: Run, tmp_path: Path) -> None:
    folder = small_study(tmp_path / "study")
    path = folder / "mappings/north.toml"
    text = path.read_text("utf-8")
    line = next(line for line in text.splitlines() if line.startswith("age_months"))
    born = 'age_months = { column = "Surgery date", as = "birth_date" }'
    path.write_text(text.replace(line, born), "utf-8")
    cell = only(trace(moved(done, folder), STIFLE, "age_months"), "stifles.age_months")
    assert cell.step.shown is False
    assert cell.raw is None


def test_the_trace_is_told_in_words_and_as_json(done: Run) -> None:
    found = trace(done, STIFLE, "weight_kg")
    words = trace_text(found)
    assert words.startswith(f"{STIFLE}, weight_kg = 3.2")
    assert 'north/stifles.csv, row 27, column "Weight (kg)": "3.2"' in words
    assert json.loads(trace_json(found))["cells"][0]["raw"] == "3.2"


def test_what_does_not_exist_is_named(done: Run) -> None:
    with pytest.raises(InputFileError, match='no column "relux_dya"'):
        trace(done, STIFLE, "relux_dya")
    with pytest.raises(InputFileError, match="no such stifle"):
        trace(done, "north:nobody:left", "relux_day")


def test_nothing_is_written(done: Run) -> None:
    assert not (done.study.folder / "out").exists()
    assert build_cohort(done.linked, done.study).table.equals(done.the_cohort.table)


def test_a_stifle_whose_row_was_stopped_is_told_so(done: Run) -> None:
    stopped = done.checked.stopped.filter(table="stifles")
    rows = done.corrected.mapped.tables["stifles"].join(stopped, on="row_id", how="semi")
    names = rows.filter(rows["local_stifle"].is_not_null())
    row = names.row(0, named=True)
    stifle = f"{row['clinic_id']}:{row['local_stifle']}"
    place = f"its row {row['row']} in {row['clinic_id']}/{row['file']} was stopped by rule "
    with pytest.raises(InputFileError) as told:
        trace(done, stifle, "relux_day")
    assert place in str(told.value)
    assert "Did you mean" not in str(told.value)
    assert place in why_stopped(done, stifle)
    assert why_stopped(done, "north:none:left") == ""
    assert why_stopped(done, done.the_cohort.table["stifle_id"][0]) == ""
