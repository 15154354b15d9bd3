"""What was refused as an identifier is mended in the export alone: no answer lets it in."""

from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest

from pipeline.answers import Taken, take_answers
from pipeline.run import run_study
from tests.answering import ON, answer, asked_now, checked, row_about, write_list
from tests.small_study import small_study

NUMBER, NAME = "0171 2345678", "Quillfeather"
ANSWERS = (
    {"answer": "correct as it is"}, {"answer": "corrected", "right value": "none"},
    {"answer": "cannot be found"}, {"answer": "delete this row"}, {"right value": NUMBER},
    {"answer": "correct as it is", "remark": f"ring {NUMBER}"},
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounds:
    """A study through three exports: what screening asked in each, and the answers to the first.

    `asked` gives for each round query id -> (rule, status); `rows` the accepted rows by table.
    """

    folder: Path
    asked: list[dict[str, tuple[str, str]]]
    rows: list[dict[str, int]]
    answered: list[Taken]


def export_rechecks(folder: Path, lines: list[str], *, owner: bool, number: bool) -> None:
    """Write the rechecks with a column of owners, or with a telephone number in a comment."""
    head, *rows = lines
    rows[4] += NUMBER if number else ""
    if owner:
        head, rows = f"{head},Owner name", [f"{row},{NAME}" for row in rows]
    path = folder / "exports/north/rechecks.csv"
    path.write_text("\n".join([head, *rows]) + "\n", "utf-8")


def ask(rounds: Rounds) -> None:
    """Check as a round with the clinic."""
    done = run_study(rounds.folder, until="check", on_step=lambda _step: None)
    found = pl.read_csv(rounds.folder / "out/queries/north.csv", infer_schema=False)
    kept = found.filter(pl.col("rule").str.starts_with("S"))
    status = {name: (rule, said) for name, rule, said in
              kept.select("query_id", "rule", "status").iter_rows()}  # fmt: skip
    rounds.asked.append(status)
    rounds.rows.append({name: rows.height for name, rows in done.checked.tables.items()})


@pytest.fixture(scope="module")
def rounds(tmp_path_factory: pytest.TempPathFactory) -> Rounds:
    """Ask, answer in every way, and check two more exports, each mended in one place."""
    folder = small_study(tmp_path_factory.mktemp("screened") / "study", ["north"])
    lines = (folder / "exports/north/rechecks.csv").read_text("utf-8").splitlines()
    seen = Rounds(folder=folder, asked=[], rows=[], answered=[])
    export_rechecks(folder, lines, owner=True, number=True)
    ask(seen)
    done = checked(folder)
    asked = [row for row in asked_now(done, "north") if row["rule"].startswith("S")]
    for said in ANSWERS:
        path = write_list(folder / "filled.xlsx", [row | said for row in asked])
        seen.answered.append(take_answers(done, path, on=ON, clinic="north"))
    weight = row_about(done, "north", "weight_kg", "129")["query_id"]
    seen.answered.append(answer(folder, "north", {weight: ("corrected", "12.9")}, done=done))
    for owner, number in ((False, True), (False, False)):
        export_rechecks(folder, lines, owner=owner, number=number)
        ask(seen)
    return seen


def test_no_answer_lets_in_what_was_refused_as_an_identifier(rounds: Rounds) -> None:
    for taken in rounds.answered[:-1]:
        assert (taken.taken, taken.lines, len(taken.refused)) == (0, (), 2)
    plain = [item.reason for item in rounds.answered[0].refused]
    assert plain == ["what looks like an identifier is to be removed from the export itself"] * 2


def test_each_question_stays_open_until_its_export_is_mended(rounds: Rounds) -> None:
    first, second, third = rounds.asked
    ids = {rule: name for name, (rule, _) in first.items()}
    assert sorted(first.values()) == [("S01", "new"), ("S02", "new")]
    assert second == {ids["S01"]: ("S01", "open"), ids["S02"]: ("S02", "resolved")}
    assert third == {ids["S01"]: ("S01", "resolved")}


def test_other_answers_are_carried_through_and_no_row_is_lost(rounds: Rounds) -> None:
    assert rounds.rows[0] == rounds.rows[1] == rounds.rows[2]
    done = checked(rounds.folder)
    assert done.corrected.applied == 1
    weights = done.checked.tables["stifles"].filter(local_animal="N-0271")["weight_kg"]
    assert 12.9 in weights.to_list()
    assert 129 not in weights.to_list()
