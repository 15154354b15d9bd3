"""Whether each record of a text has one reading is settled by a count, or left open."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.intake import settled
from pipeline.intake.mapping import SourceFile
from pipeline.intake.quick_text import quick_sheet
from pipeline.intake.settled import count_records
from pipeline.intake.sheet import Record, Sheet, lay_out
from pipeline.intake.text_file import record_reader

SIGNS = ["a", ",", '"', '""', '"x,y"', '"p\nq"', '"u\r\nv"', '"say ""no"""', "\n", "\r\n"]


def count(text: str, piece: int = 1 << 20) -> tuple[int, int] | None:
    return count_records(text.encode(), delimiter=",", quote='"', start=0, piece=piece)


@settings(max_examples=300, deadline=None)
@given(signs=st.lists(st.sampled_from(SIGNS), max_size=30), piece=st.integers(1, 9))
@example(signs=['"p\nq"', ",", '""', "\n"], piece=1)
@example(signs=['"say ""no"""'], piece=6)
def test_what_is_counted_is_what_the_strict_reader_reads(signs: list[str], piece: int) -> None:
    text = "".join(signs)
    counted = count(text)
    assert count(text, piece) == counted
    if counted is not None:
        lines = io.StringIO(text, newline="")
        records = list(record_reader(lines, SourceFile(name="a", path="a.csv")))
        assert counted == (len(records), sum(max(len(record), 1) - 1 for record in records))


@pytest.mark.parametrize("text", ['a,b"\n', '"a"b,c\n', 'a,"b\n', '"a" ,b\n', "a,b\nc,"])
def test_a_quote_without_a_sure_meaning_leaves_it_open(text: str) -> None:
    assert count(text) is None


def test_a_cell_that_may_be_too_long_leaves_it_open(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settled, "LONGEST_CELL", 40)
    text = 'a,b\n"{}",d\n'
    assert count(text.format("x\n" * 9), 8) == (2, 2)
    assert count(text.format("x\n" * 25), 8) is None


def lay_out_head(records: list[Record]) -> Sheet:
    return lay_out(records, path=Path("a.csv"), file="a.csv", sheet="", header_row=1,
                   number_repeats=False)  # fmt: skip


@pytest.mark.parametrize(
    "body", ["1,2\n,\n3,", "1,2\n,,\n3\n", "1,2\n3\n4,,", '1,2\n\n3,,""', "\n1,2,3\n4,5\n"]
)
def test_long_and_short_records_do_not_make_up_for_each_other(body: str) -> None:
    source = SourceFile(name="a", path="a.csv")
    sheet = quick_sheet(
        ("a,b\n" + body).encode(), source, header_row=1, lay_out_head=lay_out_head
    )  # fmt: skip
    records = list(csv.reader(io.StringIO(body)))
    assert sheet is not None
    assert [row[1:] for row in sheet.rows.rows()] == [
        tuple(cell or None for cell in record)
        for record in records if len(record) == 2 and any(record)
    ]  # fmt: skip
    assert [fields for _, fields in sheet.ragged] == [
        len(record) for record in records if any(record) and len(record) != 2
    ]


@pytest.mark.parametrize("body", ["1", "1,2\n3", '"1",2\n3,4'])
def test_a_text_of_many_columns_is_read_whole(body: str) -> None:
    width = 1500
    more = "," * (width - 2)
    text = ",".join(f"c{place}" for place in range(width)) + "\n"
    text += "\n".join(line + more + ("" if "," in line else ",") for line in body.split("\n"))
    sheet = quick_sheet(
        (text + "\n").encode(), SourceFile(name="a", path="a.csv"), header_row=1,
        lay_out_head=lay_out_head,
    )  # fmt: skip
    assert sheet is not None
    assert sheet.rows.width == width + 1
    assert sheet.rows["c0"].to_list() == [line.strip('"')[0] for line in body.split("\n")]
