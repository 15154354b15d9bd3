"""A round of questions and answers: exports never change, answers do what they say."""

import shutil
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.manifest import fingerprints, study_inputs
from tests.answering import answer as answer_list
from tests.small_study import small_study


@pytest.fixture(scope="module")
def first_round(tmp_path_factory: pytest.TempPathFactory, call_sulca: Any) -> Path:
    folder = small_study(tmp_path_factory.mktemp("asked") / "study", ["north"])
    assert call_sulca("check", str(folder)).returncode == 0
    return folder


@pytest.fixture
def asked(first_round: Path, tmp_path: Path) -> Path:
    """A study whose clinics have been asked."""
    return Path(shutil.copytree(first_round, tmp_path / "study"))


def questions(folder: Path) -> pl.DataFrame:
    return pl.read_csv(folder / "out/queries/north.csv", infer_schema=False)


def about(folder: Path, variable: str, raw: str) -> dict[str, Any]:
    return questions(folder).filter(variable=variable, value=raw).row(0, named=True)


def answer(folder: Path, answers: dict[str, tuple[str, str]]) -> None:
    """Answer for north, all of it taken."""
    taken = answer_list(folder, "north", answers)
    assert (taken.taken, taken.refused) == (len(answers), ())


def exported(folder: Path) -> dict[str, str]:
    return fingerprints(
        folder, [name for name in study_inputs(folder) if name.parts[0] == "exports"]
    )


def test_corrected_cell_changes_and_its_question_is_resolved(asked: Path, call_sulca: Any) -> None:
    before = exported(asked)
    query = about(asked, "recheck_day", "24/06/2026")
    answer(asked, {query["query_id"]: ("corrected", "2016-06-24")})
    done = call_sulca("check", str(asked))
    assert "1 applied" in done.stdout
    assert exported(asked) == before
    status = dict(questions(asked).select("query_id", "status").rows())
    assert status[query["query_id"]] == "resolved"
    assert "open" in status.values()
    rechecks = pl.read_parquet(asked / "out/tables/rechecks.parquet")
    kept = rechecks.filter(clinic_id="north", local_stifle="N-0117:left")
    assert 169 in kept["recheck_day"].to_list()  # 7 January to 24 June 2016


def test_confirmed_cell_stays_and_is_not_asked_again(asked: Path, call_sulca: Any) -> None:
    query = questions(asked).filter(priority="4 please confirm").row(0, named=True)
    answer(asked, {query["query_id"]: ("correct as it is", "")})
    for _round in range(2):
        done = call_sulca("check", str(asked))
        assert "1 confirmed as correct" in done.stdout
        still = questions(asked).filter(pl.col("status") != "resolved")["query_id"].to_list()
        assert query["query_id"] not in still


def test_answer_to_a_text_that_no_longer_stands_changes_nothing(
    asked: Path, call_sulca: Any
) -> None:
    query = about(asked, "recheck_day", "24/06/2026")
    answer(asked, {query["query_id"]: ("corrected", "2016-06-24")})
    path = asked / "exports/north/rechecks.csv"
    path.write_bytes(path.read_bytes().replace(b"24/06/2026", b"25/06/2026", 1))
    done = call_sulca("check", str(asked))
    assert "1 whose old text no longer stands" in done.stdout
    findings = pl.read_parquet(asked / "out/tables/findings.parquet")
    assert findings.filter(rule="K01").height == 1
    assert findings.filter(rule="R15", value="25/06/2026").height == 1


def only_one_held(folder: Path) -> None:
    """Leave the patients with no blocking question, and one too heavy."""
    blocking = questions(folder).filter(pl.col("priority").str.contains("^[12]"))
    asked = set(blocking["animal"].str.split(", ").list.first()) - {"N-0271"}
    for path in sorted((folder / "exports/north").iterdir()):
        lines = path.read_text("utf-8").splitlines(keepends=True)
        kept = [line for line in lines if line.split(",")[0] not in asked]
        path.write_bytes("".join(kept).encode())


def test_strict_fails_until_what_stops_or_holds_is_answered(asked: Path, call_sulca: Any) -> None:
    only_one_held(asked)
    assert call_sulca("check", str(asked), "--strict").returncode == 1
    queries = questions(asked).filter(pl.col("status") != "resolved")
    blocking = queries.filter(pl.col("priority").str.contains("^[12]"))
    assert blocking.select("variable", "value").rows() == [("weight_kg", "129")]
    answer(asked, {blocking["query_id"][0]: ("corrected", "12,9")})
    assert call_sulca("check", str(asked), "--strict").returncode == 0
    still = questions(asked).filter(pl.col("status") != "resolved")
    assert set(still["query_id"]) == set(queries["query_id"]) - set(blocking["query_id"])
