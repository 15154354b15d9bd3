"""Filled query lists: what is taken, what is handed back and why; every row is accounted for."""

import csv
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter

from pipeline.answers import HandedBack, study_of, take_answers
from pipeline.checks.answers import decision_of
from pipeline.run import Run
from shared.errors import InputFileError
from tests.answering import ON, asked_now, checked, fill_in, row_about, take, write_list
from tests.small_study import small_study

MENDED = {"answer": "corrected", "right value": "12.9"}


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return checked(small_study(tmp_path_factory.mktemp("answers") / "study"))


@pytest.fixture(autouse=True)
def nothing_answered(done: Run) -> None:
    (done.study.folder / "corrections.csv").unlink(missing_ok=True)


def refusal(done: Run, tmp_path: Path, **change: str) -> str:
    """Give why the answer "corrected, 12.9" about a weight is handed back when so changed."""
    row = row_about(done, "north", "weight_kg", "129")
    row |= MENDED | {
        name.replace("_", " ") if name != "query_id" else name: text
        for name, text in change.items()
    }
    taken = take(done, tmp_path, row, clinic="north")
    assert (taken.taken, taken.lines) == (0, ())
    assert not (done.study.folder / "corrections.csv").exists()
    return taken.refused[0].reason


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"query_id": "Q-0000000000"}, "no such question is open"),
        ({"query_id": "=1+1"}, "no such question is open"),
        ({"what_is_wrong": "All is well."}, '"what is wrong" reads otherwise'),
        ({"value": "13"}, '"value" reads otherwise'),
        ({"animal": "N-0001, left"}, '"animal" reads otherwise'),
        ({"variable": "bcs"}, '"variable" reads otherwise'),
        ({"answer": "perhaps"}, "the answer is none of the list"),
        ({"right_value": ""}, "the right value is missing"),
        ({"answer": "correct as it is"}, "the answer is another than corrected"),
        ({"right_value": "=12.9"}, "reads like a formula"),
        ({"right_value": "heavy"}, "no value of Body weight"),
        ({"right_value": "900"}, "beyond what is possible"),
        ({"remark": "call 0171 234567"}, "the remark looks like it holds a name"),
    ],
)
def test_an_answer_that_cannot_be_taken_is_handed_back_with_its_reason(
    done: Run, tmp_path: Path, change: dict[str, str], reason: str
) -> None:
    assert reason in refusal(done, tmp_path, **change)


def test_good_answers_are_taken_beside_bad_ones(done: Run, tmp_path: Path) -> None:
    rows = asked_now(done, "north")
    good = row_about(done, "north", "weight_kg", "129")["query_id"]
    filled = fill_in(rows, {good: ("corrected", "12.9"), rows[0]["query_id"]: ("maybe", "")})
    taken = take(done, tmp_path, *filled)
    assert (taken.read, taken.taken, taken.blank) == (len(rows), 1, len(rows) - 2)
    assert [item.row for item in taken.refused] == [2]
    assert taken.lines[0].cell[1:] == ("stifles", "N-0271", "left", "", "weight_kg") or (
        taken.lines[0].variable == "weight_kg"
    )


def test_a_question_answered_twice_is_handed_back_both_times(done: Run, tmp_path: Path) -> None:
    row = row_about(done, "north", "weight_kg", "129") | {"answer": "corrected"}
    taken = take(done, tmp_path, row | {"right value": "12.9"}, row | {"right value": "13"})
    assert [item.reason for item in taken.refused] == [
        "the same question is answered twice in this list"] * 2  # fmt: skip


def test_a_list_of_another_clinic_is_handed_back(done: Run, tmp_path: Path) -> None:
    row = row_about(done, "valley", "weight_kg", "265") | {
        "answer": "corrected",
        "right value": "2,65",
    }
    taken = take(done, tmp_path, row, clinic="north")
    assert taken.refused == (HandedBack(
        row=2, query_id=row["query_id"],
        reason="this question was asked of another clinic, not of north"),)  # fmt: skip
    assert take(done, tmp_path, row).clinic == "valley"


@pytest.mark.parametrize(
    ("clinic", "variable", "value", "right", "new"),
    [
        ("north", "recheck_day", "24/06/2026", "24/06/2016", "2016-06-24"),
        ("north", "recheck_day", "24/06/2026", "2016-06-24", "2016-06-24"),
        ("north", "recheck_day", "24/06/2026", "169", "169"),
        ("north", "weight_kg", "129", "12.9 kg", "12.9"),
        ("north", "weight_kg", "129", "12900 g", "12.9"),
        (
            "north",
            "sulcoplasty_type",
            "Block recesion (mini)",
            "Block recession",
            "block_recession",
        ),
        (
            "north",
            "sulcoplasty_type",
            "Block recesion (mini)",
            "block_recession",
            "block_recession",
        ),
        ("valley", "weight_kg", "265", "2,65", "2.65"),
        ("valley", "age_months", "0,10", "1,99", "23.88"),
        ("valley", "recheck_day", "ca. 3 Monate", "12", "2016-10-21"),
    ],
)
def test_a_right_value_is_read_as_the_clinic_writes_it(
    done: Run, tmp_path: Path, clinic: str, variable: str, value: str, right: str, new: str
) -> None:
    """By hand: 1.99 years are 23.88 months; 12 weeks after 29 July 2016 is 21 October."""
    row = row_about(done, clinic, variable, value) | {"answer": "corrected", "right value": right}
    line = take(done, tmp_path, row).lines[0]
    assert (line.old_raw, line.new, line.decision) == (value, new, "corrected")
    assert (line.who, line.when) == (f"clinic {clinic}", "2025-05-02")


def test_a_word_for_missing_makes_the_value_missing(done: Run, tmp_path: Path) -> None:
    row = row_about(done, "valley", "weight_kg", "265") | {"right value": "k.A."}
    line = take(done, tmp_path, row).lines[0]
    assert (line.decision, line.new) == ("unknown", "not_recorded")


def test_the_same_file_twice_adds_nothing_and_keeps_every_byte(done: Run, tmp_path: Path) -> None:
    path = done.study.folder / "corrections.csv"
    row = row_about(done, "north", "weight_kg", "129") | MENDED
    assert len(take(done, tmp_path, row).lines) == 1
    before = path.read_bytes().replace(b"\n", b"\r\n")[:-2]  # as another program saved it
    path.write_bytes(before)
    again = take(done, tmp_path, row)
    assert (again.taken, again.known, again.lines) == (1, 1, ())
    assert path.read_bytes() == before
    more = row_about(done, "north", "recheck_day", "24/06/2026") | {"answer": "cannot be found"}
    take(done, tmp_path, more)
    assert path.read_bytes().startswith(before + b"\r\n")
    assert len(list(csv.DictReader(path.read_text("utf-8").splitlines()))) == 2


def test_an_answered_question_that_is_closed_by_now_is_known(done: Run, tmp_path: Path) -> None:
    row = row_about(done, "north", "weight_kg", "129") | MENDED
    take(done, tmp_path, row)
    later = checked(done.study.folder)
    again = take(later, tmp_path, row)
    assert (again.taken, again.known, again.lines) == (1, 1, ())
    other = take(later, tmp_path, row | {"answer": "correct as it is", "right value": ""})
    assert "answered otherwise before" in other.refused[0].reason


@pytest.mark.parametrize(
    ("word", "decision"),
    [("Corrected", "corrected"), ("bestätigt", "confirmed"), ("CONFIRMÉ ", "confirmed"),
     ("correcto.", "confirmed"), ("stimmt so", "confirmed"), ("klopt", "confirmed"),
     ("sconosciuto", "unknown"), ("unbekannt", "unknown"),
     ("non renseigné", "unknown"), ("no consta", "unknown"), ("Zeile löschen", "deleted"),
     ("supprimer la ligne", "deleted"), ("yes", None), ("", None)],
)  # fmt: skip
def test_answer_words_of_six_languages(word: str, decision: str | None) -> None:
    assert decision_of(word) == decision


def test_a_formula_is_no_answer(done: Run, tmp_path: Path) -> None:
    row = row_about(done, "north", "weight_kg", "129") | {"answer": "corrected"}
    path = tmp_path / "formula.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        page = book.add_worksheet("Questions")
        page.write_row(0, 0, list(row))
        page.write_row(1, 0, list(row.values()))
        page.write_formula(1, list(row).index("right value"), "=10+2.9", value=13)
    taken = take_answers(done, path, on=ON)
    assert "is a formula" in taken.refused[0].reason


def test_a_list_saved_as_csv_is_read_too(done: Run, tmp_path: Path) -> None:
    row = row_about(done, "north", "weight_kg", "129") | MENDED
    path = tmp_path / "filled.csv"
    with path.open("w", encoding="cp1252", newline="") as handle:
        writer = csv.DictWriter(handle, list(row), delimiter=";")
        writer.writeheader()
        writer.writerow(row)
    assert take_answers(done, path, on=ON).taken == 1


@pytest.mark.parametrize(
    "content", [b"", b"PK\x03\x04 not a zip", b"\x00" * 100, b"\xd0\xcf\x11\xe0 old workbook"]
)
@pytest.mark.parametrize("name", ["x.xlsx", "x.csv"])
def test_what_is_no_list_gets_one_message(
    done: Run, tmp_path: Path, name: str, content: bytes
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputFileError):
        take_answers(done, tmp_path / name, on=ON)


def test_a_list_without_a_column_is_refused(done: Run, tmp_path: Path) -> None:
    row = row_about(done, "north", "weight_kg", "129")
    path = write_list(tmp_path / "x.xlsx", [row], header=["id" if name == "query_id" else name
                                                          for name in row])  # fmt: skip
    with pytest.raises(InputFileError, match='the column "query_id" is missing'):
        take_answers(done, path, on=ON)


def test_whose_list_it_is_must_be_known(done: Run, tmp_path: Path) -> None:
    row = row_about(done, "north", "weight_kg", "129") | {"query_id": "Q-1", "answer": "corrected"}
    with pytest.raises(InputFileError, match="which clinic answered"):
        take(done, tmp_path, row)
    with pytest.raises(InputFileError, match='no clinic "nroth"'):
        take(done, tmp_path, row, clinic="nroth")


def test_the_study_is_found_above_the_list(done: Run) -> None:
    inside = done.study.folder / "exports/north/filled.xlsx"
    assert study_of([inside]) == (done.study.folder.resolve(), inside)
    assert study_of([done.study.folder, inside]) == (done.study.folder, inside)


def test_the_command_says_what_became_of_each_row(
    done: Run, tmp_path: Path, call_sulca: Any
) -> None:
    rows = fill_in(asked_now(done, "north"), {})
    good = row_about(done, "north", "weight_kg", "129")["query_id"]
    filled = [row | ({"answer": "corrected", "right value": "12.9"} if row["query_id"] == good
                     else {"answer": "?"} if place == 0 else {})
              for place, row in enumerate(rows)]  # fmt: skip
    path = write_list(tmp_path / "north.xlsx", filled)
    said = call_sulca("answers", str(done.study.folder), str(path), "--on", "2025-05-02")
    assert said.returncode == 0, said.stderr
    assert f"{len(rows)} = 1 taken + 1 refused + {len(rows) - 2} blank" in said.stdout
    assert f"row 2, {rows[0]['query_id']}: refused, the answer is none of the list" in said.stdout
