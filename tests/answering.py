"""Query lists filled in as a secretary does, for tests of answers."""

from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

import xlsxwriter

from pipeline.answers import Taken, take_answers
from pipeline.queries import queries_of, query_labels
from pipeline.run import Run, checked_study

ON = date(2025, 5, 2)
Answers = Mapping[str, tuple[str, str]]
Row = dict[str, str]
Rows = list[dict[str, Any]]


def checked(folder: Path) -> Run:
    """Check a study without writing anything."""
    return checked_study(folder, lambda _step: None)


def asked_now(done: Run, clinic: str) -> Rows:
    """Give the questions of one clinic as its list holds them."""
    rows = queries_of(done.findings, clinic, query_labels(done.codebook)).rows(named=True)
    return [{name: "" if cell is None else str(cell) for name, cell in row.items()}
            for row in rows]  # fmt: skip


def fill_in(rows: Rows, answers: Answers) -> Rows:
    """Give the rows with the answers by id: what was chosen, and the right value."""
    said = [answers.get(row["query_id"], ("", "")) for row in rows]
    return [row | {"answer": answer, "right value": right}
            for row, (answer, right) in zip(rows, said, strict=True)]  # fmt: skip


def write_list(path: Path, rows: Iterable[Mapping[str, str]], *, header: Iterable[str] = ()
               ) -> Path:  # fmt: skip
    """Write a list as a spreadsheet program saves it; "=..." stays a text."""
    rows = list(rows)
    with xlsxwriter.Workbook(str(path), {"strings_to_formulas": False}) as book:
        page = book.add_worksheet("Questions")
        page.write_row(0, 0, list(header) or list(rows[0]))
        for place, row in enumerate(rows, start=1):
            page.write_row(place, 0, list(row.values()))
    return path


def answer(folder: Path, clinic: str, answers: Answers, *, done: Run | None = None) -> Taken:
    """Fill in the list of one clinic and take it in."""
    done = done or checked(folder)
    path = write_list(folder / f"{clinic}_filled.xlsx", fill_in(asked_now(done, clinic), answers))
    return take_answers(done, path, on=ON, who="practice manager")


def row_about(done: Run, clinic: str, variable: str, value: str) -> Row:
    """Give the question about one cell."""
    return next(row for row in asked_now(done, clinic)
                if (row["variable"], row["value"]) == (variable, value))  # fmt: skip


def take(done: Run, tmp_path: Path, *rows: Row, clinic: str = "") -> Taken:
    """Take in a list of these rows, each of which has one fate."""
    taken = take_answers(done, write_list(tmp_path / "filled.xlsx", rows), on=ON, clinic=clinic)
    assert taken.read == taken.taken + len(taken.refused) + taken.blank
    return taken
