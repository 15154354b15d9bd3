"""Columns of few texts are read as codes, the same whatever threads meet which text first."""

import csv
import io
from pathlib import Path

import polars as pl
import pytest

from pipeline.intake import by_line, fast_codes, quick_text
from pipeline.intake.fast_codes import read_coded
from pipeline.intake.fast_reader import read_cells, unfilled
from pipeline.intake.mapping import SourceFile
from pipeline.intake.quick_text import quick_sheet
from pipeline.intake.sheet import ROW, Record, Sheet, lay_out

PLAIN = SourceFile(name="a", path="a.csv")
ROWS = [["1", "L", "", "x"], ["2", "R", "", ""], ["3", "L", "", "b, c"], ["4", " ", "", "z"]]
LATER = [["5", "both", "", "y"], ["6", "", "", "a"], ["1", "L", "", "x"]]


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """See in few records what is made of many."""
    monkeypatch.setattr(fast_codes, "SAMPLE", 4)
    for module in (quick_text, by_line):
        monkeypatch.setattr(module, "SAMPLE", 4)
    monkeypatch.setattr(fast_codes, "FEW", 3)


def written(rows: list[list[str]], *, quoting: int = csv.QUOTE_MINIMAL) -> bytes:
    made = io.StringIO(newline="")
    csv.writer(made, quoting=quoting, lineterminator="\n").writerows(rows)  # type: ignore[arg-type]
    return made.getvalue().encode()


def lay_out_head(records: list[Record]) -> Sheet:
    return lay_out(records, path=Path("a.csv"), file="a.csv", sheet="", header_row=1,
                   number_repeats=False)  # fmt: skip


@pytest.mark.parametrize("quoting", [csv.QUOTE_MINIMAL, csv.QUOTE_ALL])
@pytest.mark.parametrize("rows", [ROWS, ROWS + LATER, ROWS[:1], [["", "", "", ""]] * 9])
def test_codes_stand_for_the_texts(rows: list[list[str]], quoting: int) -> None:
    content = written(rows, quoting=quoting)
    codes = read_coded(content, PLAIN, width=4, skip_lines=0)
    texts = read_cells(content, PLAIN, width=4)
    assert codes.with_columns(pl.all().cast(pl.String)).equals(texts)
    assert unfilled(codes.with_row_index(ROW)).equals(unfilled(texts.with_row_index(ROW)))


def test_texts_are_numbered_as_they_come_in_the_sample_then_by_the_alphabet() -> None:
    rows = read_coded(written(ROWS + LATER), PLAIN, width=4, skip_lines=0)
    assert rows.schema == {
        "0": pl.String(), "1": pl.Enum(["L", "R", " ", "both"]), "2": pl.Enum([]),
        "3": pl.Enum(["x", "b, c", "z", "a", "y"]),
    }  # fmt: skip


def test_more_texts_than_codes_are_read_as_text(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fast_codes, "CODE", pl.UInt8())
    rows = [["a", "L"]] * 4 + [[str(number), "L"] for number in range(300)]
    read = read_coded(written(rows), PLAIN, width=2, skip_lines=0)
    assert read.rows() == [tuple(row) for row in rows]
    assert read.schema == {"0": pl.String(), "1": pl.String()}


def test_rows_of_codes_without_a_cell_are_blank_rows() -> None:
    content = written([["a", "b", "c"], *[["L", "", ""]] * 4, [" ", "", "\u2003"], ["", "", ""]])
    sheet = quick_sheet(content, PLAIN, header_row=1, lay_out_head=lay_out_head)
    assert sheet is not None
    assert sheet.set_aside == ((6, "blank row"), (7, "blank row"))
    assert sheet.rows[ROW].to_list() == [2, 3, 4, 5]
    assert sheet.rows["a"].cast(pl.String).to_list() == ["L"] * 4


def test_records_of_the_strict_reader_stand_among_codes() -> None:
    content = b'a,b,c\n1,L,\n2,R,\n3,"both\nlegs",x\n4,L,""\n\n5,L,\n6,R,\n7,"L",\n8\n9,R,\n'
    sheet = quick_sheet(content, PLAIN, header_row=1, lay_out_head=lay_out_head)
    assert sheet is not None
    assert sheet.rows.schema == {
        ROW: pl.Int64(), "a": pl.String(), "b": pl.Enum(["L", "R", "both\nlegs"]),
        "c": pl.Enum(["x"]),
    }  # fmt: skip
    assert sheet.rows.rows()[1:4] == [(3, "2", "R", None), (4, "3", "both\nlegs", "x"),
                                      (5, "4", "L", None)]  # fmt: skip
    assert (sheet.ragged, sheet.set_aside) == (((10, 1),), ((6, "blank row"),))
