"""`sulca new`: a skeleton that is read as it stands, and templates that say what they hold."""

import csv
from pathlib import Path

import pytest

from pipeline.intake.mapping_file import read_mapping
from pipeline.new import create_study
from pipeline.plan import parse_analyses
from pipeline.study import Eligibility, Outcomes, read_study
from schemas.codebook import CANONICAL_TABLES, codebook_version, of_table, read_codebook
from shared.errors import InputFileError


@pytest.fixture
def made(tmp_path: Path) -> Path:
    create_study(tmp_path / "my-study")
    return tmp_path / "my-study"


def test_the_skeleton_is_a_study_with_the_protocols_defaults(made: Path) -> None:
    study = read_study(made)
    assert study.eligibility == Eligibility()
    assert study.outcomes == Outcomes()
    assert study.clinics == ()
    assert study.codebook_version == codebook_version(read_codebook())
    assert study.statements.ethics == "not stated"
    assert [item.id for item in parse_analyses(list(study.analyses))] == [
        "relux_risk",
        "relux_hazard",
    ]


def test_every_switch_of_the_protocol_stands_in_the_skeleton(made: Path) -> None:
    text = (made / "study.toml").read_text("utf-8")
    for section in (Eligibility, Outcomes):
        for name in section.__dataclass_fields__:
            assert name in text


def test_the_example_is_a_filled_mapping_that_is_read(made: Path, tmp_path: Path) -> None:
    example = (made / "mappings" / "north.toml.example").read_text("utf-8")
    (tmp_path / "north.toml").write_text(example, encoding="utf-8")
    mapping = read_mapping(tmp_path / "north.toml", read_codebook())
    assert {name for table in mapping.tables for name in table.tables} >= {"stifles", "rechecks"}


def test_templates_have_every_column_and_no_row(made: Path) -> None:
    codebook = read_codebook()
    for table in CANONICAL_TABLES:
        with (made / "templates" / f"{table}.csv").open(encoding="utf-8", newline="") as handle:
            rows = list(csv.reader(handle))
        assert rows == [[item.name for item in of_table(codebook, table)]]


def test_the_dictionary_says_what_each_column_of_the_templates_holds(made: Path) -> None:
    with (made / "templates" / "dictionary.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    columns = {
        (table, name)
        for table in CANONICAL_TABLES
        for name in (made / "templates" / f"{table}.csv").read_text("utf-8").strip().split(",")
    }
    assert {(row["table"], row["variable"]) for row in rows} == columns
    assert all(row["label"] and row["definition"] for row in rows)
    side = next(row for row in rows if row["table"] == "stifles" and row["variable"] == "side")
    assert side["codes"] == "left = Left; right = Right"


def test_corrections_start_with_their_header(made: Path) -> None:
    header = (made / "corrections.csv").read_text("utf-8")
    assert header.startswith("query_id,clinic,table,")
    assert "old_raw,new," in header


def test_the_exports_folder_says_what_goes_there(made: Path) -> None:
    assert "needs no mapping" in (made / "exports" / "README.md").read_text("utf-8")


def test_a_folder_that_holds_something_is_refused_and_left_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputFileError, match="not empty"):
        create_study(tmp_path)
    with pytest.raises(InputFileError, match="not empty"):
        create_study(tmp_path / "letter.txt")
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_an_empty_folder_is_taken_and_what_was_written_is_listed(tmp_path: Path) -> None:
    written = create_study(tmp_path)
    assert sorted(path for path in tmp_path.rglob("*") if path.is_file()) == sorted(written)
