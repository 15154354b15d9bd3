"""The page of rounds: what was asked, what is open, what was resolved, for one clinic."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.queries import write_queries
from pipeline.query_progress import ROUNDS
from schemas.findings import findings
from shared.errors import InputFileError

ASK = {
    "action": "ask", "clinic_id": "north", "table": "stifles", "file": "a.csv", "column": "Weight",
    "variable": "weight_kg", "says": "The weight is <b>unusual</b>. (Species: Dog)", "fix": "Look.",
}  # fmt: skip


def asked(*animals: str, rule: str = "R31") -> pl.DataFrame:
    rows = [ASK | {"rule": rule, "key": f"{name}, left", "row": place, "row_id": f"r{place}"}
            for place, name in enumerate(animals, start=2)]  # fmt: skip
    return findings(rows)


@pytest.fixture
def three_rounds(tmp_path: Path) -> Path:
    """Three questions; then one resolved and one new; then all resolved."""
    rounds = (
        asked("A", "B", "C"),
        pl.concat([asked("B", "C"), asked("D", rule="R30")]),
        findings(),
    )
    before: Path | None = None
    for number, found in enumerate(rounds, start=1):
        write_queries(found, tmp_path / str(number), clinics=["north", "valley"], previous=before)
        before = tmp_path / str(number)
    return tmp_path


def test_rounds_are_counted_by_rule(three_rounds: Path) -> None:
    rounds = pl.read_csv(three_rounds / "3" / ROUNDS).filter(clinic="north").drop("clinic")
    assert rounds.rows() == [
        (1, "R31", 3, 0, 0),
        (2, "R30", 1, 0, 0), (2, "R31", 0, 2, 1),
        (3, "R30", 0, 0, 1), (3, "R31", 0, 0, 2),
    ]  # fmt: skip


def test_new_questions_less_resolved_ones_are_those_open(three_rounds: Path) -> None:
    rounds = pl.read_csv(three_rounds / "3" / ROUNDS).filter(clinic="north")
    by_round = rounds.group_by("round").agg(pl.col("new", "open", "resolved").sum()).sort("round")
    open_before = 0
    for _, new, still, resolved in by_round.rows():
        assert still == open_before - resolved
        open_before = new + still
    assert open_before == 0


def test_the_page_says_how_the_data_improved(three_rounds: Path) -> None:
    page = (three_rounds / "3" / "north.html").read_text("utf-8")
    assert "In 3 rounds 4 questions were asked; 4 are resolved and 0 are open." in page
    assert "No question has been asked so far." in (three_rounds / "3" / "valley.html").read_text()
    second = (three_rounds / "2" / "north.html").read_text("utf-8")
    assert "4 questions were asked; 1 is resolved and 3 are open" in second


def test_the_page_is_escaped_and_needs_no_network(three_rounds: Path) -> None:
    page = (three_rounds / "2" / "north.html").read_text("utf-8")
    assert "&lt;b&gt;unusual" in page
    assert "<b>unusual" not in page
    assert "http" not in page.replace("http-equiv", "")


def test_the_same_round_gives_the_same_bytes(three_rounds: Path, tmp_path: Path) -> None:
    again = tmp_path / "again"
    write_queries(findings(), again, clinics=["north", "valley"], previous=three_rounds / "2")
    for name in (ROUNDS, "north.html", "valley.html"):
        assert (again / name).read_bytes() == (three_rounds / "3" / name).read_bytes()


def test_a_list_of_rounds_that_is_none_is_refused(three_rounds: Path) -> None:
    (three_rounds / "3" / ROUNDS).write_text("round,clinic\none,two\n", "utf-8")
    with pytest.raises(InputFileError, match="earlier rounds cannot be read"):
        write_queries(findings(), three_rounds / "4", clinics=["north"],
                      previous=three_rounds / "3")  # fmt: skip


@pytest.mark.parametrize("width", [360, 1280])
def test_the_page_fits_its_window(
    three_rounds: Path, open_page: Callable[..., Any], width: int
) -> None:
    open_page(three_rounds / "2" / "north.html", width=width)
