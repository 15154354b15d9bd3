"""The query list: what a secretary is asked, in a workbook and as CSV, round after round."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import fastexcel
import polars as pl
import pytest

from pipeline.check import check
from pipeline.checks.answer_lines import KEY
from pipeline.intake.mapped import Mapped
from pipeline.intake.study_intake import read_study
from pipeline.queries import COLUMNS, FOR_COORDINATOR, write_queries
from schemas.codebook import Variable, read_codebook
from schemas.findings import findings
from shared.errors import InputFileError

DEMO = Path(__file__).parents[3] / "shared" / "demo"
Codebook = tuple[Variable, ...]
Build = Callable[..., Mapped]
HEAVY = {"stifles": {1: {"bcs": 2}, 2: {"weight_kg": 120.0, "age_months": 190}}}
CELL = {
    "rule": "M01", "action": "hold", "clinic_id": "north", "table": "rechecks", "file": "r.csv",
    "column": "Patella", "variable": "patella_grade", "says": "No meaning yet.", "fix": "Say it.",
}  # fmt: skip


def read(path: Path) -> pl.DataFrame:
    return pl.read_csv(path, infer_schema=False)


@pytest.fixture
def asked(build: Build, codebook: Codebook) -> pl.DataFrame:
    return check(build(HEAVY), codebook).findings


def test_questions_stand_in_the_order_of_what_they_could_change(
    tmp_path: Path, asked: pl.DataFrame
) -> None:
    summary = write_queries(asked, tmp_path, clinics=["north"])
    queries = read(tmp_path / "north.csv")
    assert tuple(queries.columns) == COLUMNS
    assert queries.select("priority", "row", "column", "value").rows() == [
        ("2 a result is held back", "4", "Weight kg", "120.0"),
        ("4 please confirm", "3", "Bcs", "2"),
        ("4 please confirm", "4", "Age months", "190"),
    ]  # fmt: skip
    assert (summary.open, summary.new, summary.resolved) == (3, 3, 0)


def test_what_the_mapping_settles_is_listed_for_the_coordinator(tmp_path: Path) -> None:
    unread = {"rule": "M13", "action": "ask", "clinic_id": "north", "file": "r.csv",
              "column": "=X", "says": 'Nothing reads "=X".', "fix": "Map it."}  # fmt: skip
    summary = write_queries(findings([unread, CELL]), tmp_path, clinics=["north"])
    assert read(tmp_path / "north.csv")["rule"].to_list() == ["M01"]
    assert summary.open == 1
    assert read(tmp_path / FOR_COORDINATOR).rows() == [
        ("north", "M13", "r.csv", "", "'=X", unread["says"], "Map it."),
    ]  # fmt: skip


def test_the_workbook_holds_the_same_questions(tmp_path: Path, asked: pl.DataFrame) -> None:
    write_queries(asked, tmp_path, clinics=["north"])
    book = fastexcel.read_excel(tmp_path / "north.xlsx")
    assert book.sheet_names == ["Questions", "How to answer"]
    sheet = book.load_sheet("Questions", dtypes="string").to_polars()
    same = ["query_id", "row", "value", "what is wrong", "what to do"]
    assert sheet.select(same).equals(read(tmp_path / "north.csv").select(same))


def test_the_next_round_knows_new_open_and_resolved(tmp_path: Path, asked: pl.DataFrame) -> None:
    first, second, third = (tmp_path / name for name in ("1", "2", "3"))
    write_queries(asked.head(2), first, clinics=["north"])
    summary = write_queries(asked.tail(2), second, clinics=["north"], previous=first)
    assert (summary.open, summary.new, summary.resolved) == (2, 1, 1)
    assert sorted(read(second / "north.csv")["status"]) == ["new", "open", "resolved"]
    last = write_queries(asked.tail(2), third, clinics=["north"], previous=second)
    assert (last.open, last.new, last.resolved) == (2, 0, 0)


def test_the_same_findings_give_the_same_bytes(tmp_path: Path, asked: pl.DataFrame) -> None:
    for folder in ("a", "b"):
        write_queries(asked, tmp_path / folder, clinics=["north"])
    for name in ("north.xlsx", "north.csv"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_each_clinic_gets_its_own_questions_and_an_empty_list_is_written(
    tmp_path: Path, asked: pl.DataFrame
) -> None:
    summary = write_queries(asked, tmp_path, clinics=["south", "north"])
    assert summary.by_clinic == {"north": 3, "south": 0}
    assert read(tmp_path / "south.csv").is_empty()


def test_a_text_in_many_rows_is_asked_about_once(tmp_path: Path) -> None:
    rows: list[dict[str, Any]] = [
        CELL | {"row": row, "row_id": f"r{row}", "value": value, "key": f"A-{row}, left, day 9"}
        for row, value in ((2, "fixe"), (3, "fixe"), (4, "luxe"))
    ]
    write_queries(findings(rows), tmp_path, clinics=["north"])
    queries = read(tmp_path / "north.csv")
    assert queries.select("animal", "value").rows() == [
        ('every "fixe"', "fixe"), ("A-4, left, day 9", "luxe"),
    ]  # fmt: skip
    assert queries["what is wrong"][0] == "No meaning yet. This text stands in 2 rows."


def test_a_day_that_waits_for_the_date_of_surgery_is_not_asked_too(tmp_path: Path) -> None:
    date = CELL | {"rule": "M03", "action": "stop", "table": "stifles", "row": 2, "row_id": "s2",
                   "variable": "surgery_date", "key": "A-1, left"}  # fmt: skip
    day = CELL | {"rule": "M07", "action": "stop", "row": 5, "row_id": "r5",
                  "variable": "recheck_day", "key": "A-1, left"}  # fmt: skip
    other = day | {"row_id": "r6", "key": "A-2, left"}
    write_queries(findings([date, day, other]), tmp_path, clinics=["north"])
    assert read(tmp_path / "north.csv")["animal"].to_list() == ["A-1, left", "A-2, left"]


def test_a_cell_cannot_run_as_a_formula(tmp_path: Path) -> None:
    evil = CELL | {"row": 2, "row_id": "r2", "value": '=HYPERLINK("x")', "key": "A-1, left, day 9"}
    write_queries(findings([evil]), tmp_path, clinics=["north"])
    assert read(tmp_path / "north.csv")["value"][0].startswith("'=")
    sheet = fastexcel.read_excel(tmp_path / "north.xlsx").load_sheet("Questions")
    assert sheet.to_polars()["value"][0] == '=HYPERLINK("x")'


def test_a_query_list_that_is_no_list_is_refused(tmp_path: Path, asked: pl.DataFrame) -> None:
    (tmp_path / "north.csv").write_text("this,is\nnot,it\n", "utf-8")
    with pytest.raises(InputFileError, match="the last round cannot be read"):
        write_queries(asked, tmp_path / "out", clinics=["north"], previous=tmp_path)


def test_the_key_in_words_is_taken_apart_again() -> None:
    keys = ["A-1, left, day -4", "A-2, day 7", "A-3, right, event 2", "A-4", "N, 5, left"]
    parts = [match.group("animal", "side", "day") for key in keys if (match := KEY.match(key))]
    assert parts == [("A-1", "left", "day -4"), ("A-2", None, "day 7"),
                     ("A-3", "right", "event 2"), ("A-4", None, None),
                     ("N, 5", "left", None)]  # fmt: skip


def test_an_undated_surgery_of_the_demo_is_asked_about_once(tmp_path: Path) -> None:
    codebook = read_codebook(DEMO)
    found = check(read_study(DEMO, codebook), codebook).findings
    waiting = found.filter(pl.col("rule") == "M07")
    clinics = waiting["clinic_id"].unique().sort().to_list()
    write_queries(found, tmp_path, clinics=clinics, codebook=codebook)
    queries = pl.concat(read(tmp_path / f"{clinic}.csv") for clinic in clinics)
    joints = waiting["key"].str.splitn(", day ", 2).struct.field("field_0").unique()
    assert waiting.height > joints.len()
    assert sorted(queries.filter(pl.col("animal").is_in(joints.implode()))["animal"]) == sorted(
        joints
    )
