"""Export, questions, answers, export: on the demo nothing is left to ask, and no export changes."""

import csv
import shutil
from importlib.resources import files
from pathlib import Path

import pytest

from pipeline.manifest import fingerprints, study_inputs
from pipeline.run import Run
from tests.answering import Answers, answer, asked_now, checked
from tests.reported import LINES
from tests.small_study import small_study

DEMO = Path(str(files("shared") / "demo"))
LATE = {"1": "delete this row", "2": "cannot be found"}


def planted() -> dict[tuple[str, str, str, str], str]:
    """What stood in each cell before its defect was planted, by clinic, file, row and column."""
    rows = csv.DictReader((DEMO / "defects.csv").read_text("utf-8").splitlines())
    told = (
        (row["clinic"], row["file"], row["row"], row["column"], row["what_was"]) for row in rows
    )
    return {place: was.removeprefix("'") for *cell, was in told if was
            for place in [(cell[0], cell[1], cell[2], cell[3])]}  # fmt: skip


def answers_of(done: Run, clinic: str, truth: dict[tuple[str, str, str, str], str], *, late: bool
               ) -> Answers:  # fmt: skip
    """Answer as a clinic that looks everything up: the true text, or that it is right as it is.

    A row that was copied is deleted. What blocks in a later round cannot be confirmed.
    """
    copies = {key[:3] for key, text in truth.items() if text.startswith("copy of row")}
    said: dict[str, tuple[str, str]] = {}
    for row in asked_now(done, clinic):
        place = (clinic, row["file"], row["row"])
        was = "" if late else truth.get((*place, row["column"]), "")
        if place in copies and not late:
            said[row["query_id"]] = ("delete this row", "")
        elif was:
            said[row["query_id"]] = ("corrected", was)
        elif row["priority"][0] in LATE and (late or row["priority"][0] == "1"):
            said[row["query_id"]] = (LATE[row["priority"][0]], "")
        else:
            said[row["query_id"]] = ("correct as it is", "")
    return said


def exports_of(folder: Path) -> dict[str, str]:
    names = [name for name in study_inputs(folder) if name.parts[0] == "exports"]
    return fingerprints(folder, names)


@pytest.fixture(scope="module")
def answered(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[int], list[int]]:
    """The demo, answered in rounds; the questions of each round, and how many were refused."""
    folder = Path(shutil.copytree(DEMO, tmp_path_factory.mktemp("round") / "study"))
    truth, open_, refused = planted(), list[int](), list[int]()
    for number in range(4):
        done = checked(folder)
        asked = {clinic: len(asked_now(done, clinic)) for clinic in done.study.clinics}
        open_.append(sum(asked.values()))
        if not open_[-1]:
            break
        taken = [
            answer(folder, clinic, answers_of(done, clinic, truth, late=number > 0), done=done)
            for clinic in done.study.clinics if asked[clinic]
        ]  # fmt: skip
        assert all(item.read == item.taken + len(item.refused) for item in taken)
        refused.append(sum(len(item.refused) for item in taken))
    return folder, open_, refused


def test_answers_of_all_clinics_leave_no_open_question(
    answered: tuple[Path, list[int], list[int]],
) -> None:
    _, open_, refused = answered
    LINES.append(f"round trip: open by round {open_}, handed back {refused}")
    assert open_[0] > 80
    assert open_[1] < 0.1 * open_[0]
    assert open_[-1] == 0


def test_the_exports_stay_as_they_were(answered: tuple[Path, list[int], list[int]]) -> None:
    assert exports_of(answered[0]) == exports_of(DEMO)


def test_the_next_export_asks_nothing_wherever_its_rows_stand_and_whatever_it_mends(
    answered: tuple[Path, list[int], list[int]], tmp_path: Path
) -> None:
    """All rows of north in reverse; two answers taken over by its records, a copied row gone."""
    folder = Path(shutil.copytree(answered[0], tmp_path / "study"))
    for path in sorted((folder / "exports/north").glob("*.csv")):
        head, *lines = path.read_text("utf-8").splitlines(keepends=True)
        if path.name == "stifles.csv":
            mended = [line.replace(",129,", ",12.9,") for line in lines[:-1]]
            lines = [line.replace("Block recesion (mini)", "Block recession") for line in mended]
        path.write_text("".join([head, *reversed(lines)]), "utf-8", newline="")
    done = checked(folder)
    left = {row["query_id"]: (row["rule"], row["animal"]) for row in asked_now(done, "north")}
    assert left == {}
    assert done.corrected.stale == 0
    assert done.corrected.settled >= 3
    assert done.corrected.applied > 20


def test_a_confirmed_cell_is_asked_about_again_only_when_its_text_changes(tmp_path: Path) -> None:
    folder = small_study(tmp_path / "study", ["north"])
    done = checked(folder)
    query = next(row for row in asked_now(done, "north") if row["value"] == "63.9")
    answer(folder, "north", {query["query_id"]: ("correct as it is", "")}, done=done)
    assert query["query_id"] not in {row["query_id"] for row in asked_now(checked(folder), "north")}
    path = folder / "exports/north/stifles.csv"
    path.write_bytes(path.read_bytes().replace(b",63.9,", b",64.9,"))
    again = {row["query_id"]: row["value"] for row in asked_now(checked(folder), "north")}
    assert again[query["query_id"]] == "64.9"
