"""Mending a mapping is no round with the clinics; deleted query lists begin anew."""

import shutil
from pathlib import Path

import polars as pl
import pytest

from pipeline.query_progress import ROUNDS
from pipeline.run import run_study
from pipeline.summary import Summary
from tests.small_study import small_study


def _silent(_step: str) -> None:
    pass


def _check(folder: Path, *, draft: bool = False) -> Summary:
    return run_study(folder, until="check", on_step=_silent, draft=draft).summary


def _named_lists(said: Summary) -> str:
    """Give the folder in which a summary says the coordinator's list is."""
    named = str(said.counts["for the coordinator"]).partition(", in ")[2]
    return named.removesuffix("/for the coordinator.csv")


def _mend(folder: Path, note: str) -> None:
    mapping = folder / "mappings" / "north.toml"
    mapping.write_text(f"{mapping.read_text('utf-8')}\n# {note}\n", "utf-8")


def _lists(folder: Path) -> dict[str, bytes]:
    queries = folder / "out" / "queries"
    return {
        path.relative_to(queries).as_posix(): path.read_bytes()
        for path in sorted(queries.rglob("*"))
        if path.is_file() and "draft" not in path.parts
    }


def _rounds(folder: Path) -> list[int]:
    found = pl.read_csv(folder / "out" / "queries" / ROUNDS)
    return found["round"].unique().sort().to_list()


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = small_study(tmp_path_factory.mktemp("drafts") / "study")
    _check(folder)
    return folder


def test_a_draft_begins_no_round(checked: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(checked, tmp_path / "study"))
    before = _lists(folder)
    unread = folder / "exports" / "north" / "unread.csv"
    unread.write_text("case,what\nN-0001,x\n", "utf-8")  # a question to the coordinator
    for note in ("first", "second"):
        _mend(folder, note)
        said = _check(folder, draft=True)
        assert folder / _named_lists(said) in said.written.values()
        assert _named_lists(said) == "out/queries/draft"
    assert _lists(folder) == before
    drafted = pl.read_csv(folder / "out/queries/draft/north.csv", infer_schema=False)
    assert set(drafted["status"]) == {"open"}
    assert (folder / "out/queries/draft/for the coordinator.csv").exists()
    assert _named_lists(_check(folder)) == "out/queries"
    assert _rounds(folder) == [1, 2]
    assert not (folder / "out/queries/draft").exists()


def test_deleted_lists_begin_anew(checked: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(checked, tmp_path / "study"))
    _mend(folder, "second round")
    _check(folder)
    assert _rounds(folder) == [1, 2]
    shutil.rmtree(folder / "out" / "queries")
    _mend(folder, "anew")
    _check(folder)
    assert _rounds(folder) == [1]
    assert set(pl.read_csv(folder / "out/queries/north.csv", infer_schema=False)["status"]) == {
        "new"
    }
