"""The fast reading of a text gives what the strict one gives, or leaves the text to it."""

import csv
import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.intake.lines import find_lines
from pipeline.intake.mapping import SourceFile
from pipeline.intake.quick_text import quick_sheet
from pipeline.intake.sheet import Record, Sheet, lay_out
from pipeline.intake.text_file import as_utf8, decode_content, text_records
from shared.errors import InputFileError

PATH = Path("a.csv")
SIGNS = ["a", "7", ",", ";", '"', '""', "\n", "\r\n", " ", "\t", "é", "\u00a0", "\x1c", "'", "=1"]
CELLS = ["", "1", "x y", "a,b", 'say "no"', "two\nlines", "two\r\nlines", " ", "\u2003", "é;", '"']
SETTINGS = settings(max_examples=150, deadline=None)


def laid_out(records: list[Record], source: SourceFile) -> Sheet:
    return lay_out(
        records, path=PATH, file="a.csv", sheet="", header_row=source.header_row,
        number_repeats=True,
    )  # fmt: skip


def quick(text: str, source: SourceFile) -> Sheet | None:
    return quick_sheet(
        text.encode(), source, header_row=source.header_row,
        lay_out_head=lambda head: laid_out(head, source),
    )  # fmt: skip


def strict(text: str, source: SourceFile) -> Sheet | None:
    try:
        return laid_out(text_records(text, PATH, source), source)
    except InputFileError:
        return None


def hold_equal(text: str, source: SourceFile) -> bool:
    """Hold both readings equal; tell whether there was a fast one."""
    fast, slow = quick(text, source), strict(text, source)
    if fast is None:
        return False
    assert slow is not None, "the fast reading takes what the strict one refuses"
    assert fast.rows.schema == slow.rows.schema
    assert fast.rows.rows() == slow.rows.rows()
    for name in ("header", "n_rows", "set_aside", "ragged", "where", "file"):
        assert getattr(fast, name) == getattr(slow, name)
    return True


@SETTINGS
@given(
    signs=st.lists(st.sampled_from(SIGNS), max_size=60),
    head=st.sampled_from(["a\n", "a,b\n", "a,b,c\n", "t\na,b\n", ""]),
    quote=st.sampled_from(['"', "'", ""]), delimiter=st.sampled_from([",", ";", "\t"]),
    header_row=st.sampled_from([1, 1, 1, 2]),
)  # fmt: skip
@example(signs=['"', '"', '"', "\n"], head="a\n", quote='"', delimiter=",", header_row=1)
@example(signs=["\n", "\n", " "], head="a\n", quote='"', delimiter=",", header_row=1)
@example(signs=["\n", ",", "\n", '"', "\n"], head="a,b\n", quote="", delimiter=",", header_row=1)
def test_any_text_reads_as_the_strict_reader_reads_it(
    signs: list[str], head: str, quote: str, delimiter: str, header_row: int
) -> None:
    source = SourceFile(
        name="a", path="a.csv", quote=quote, delimiter=delimiter, header_row=header_row
    )
    hold_equal(head.replace(",", delimiter) + "".join(signs), source)


@SETTINGS
@given(
    rows=st.lists(st.lists(st.sampled_from(CELLS), min_size=3, max_size=3), max_size=12),
    odd=st.lists(st.sampled_from(["", "1,2", "1,2,3,4", ",,", '"a', 'b" c,1,2', '"x"y,1,2'])),
    all_quoted=st.booleans(),
    ends=st.sampled_from(["\n", "\r\n"]),
)
def test_records_of_a_csv_writer_read_as_the_strict_reader_reads_them(
    rows: list[list[str]], odd: list[str], all_quoted: bool, ends: str
) -> None:
    made = io.StringIO(newline="")
    quoting = csv.QUOTE_ALL if all_quoted else csv.QUOTE_MINIMAL
    writer = csv.writer(made, quoting=quoting, lineterminator=ends)
    writer.writerow(["a", "b", "c"])
    for place, row in enumerate(rows):
        writer.writerow(row)
        if place < len(odd):
            made.write(odd[place] + ends)
    hold_equal(made.getvalue(), SourceFile(name="a", path="a.csv"))


@pytest.mark.parametrize(
    "text",
    [
        "a,b\n1,2\n3,4",
        'a,b\n"1",""\n"x ""y""",4\n',
        'a,b\n1,"two\nlines"\n\n2,x\n',
        "a,b\r\n1,2\r\n\r\n3\r\n",
        'a,b\n1,2" pin\n3,4\n',
        "a,\n1,\n2,\n",
        "a,b\n",
    ],
)
def test_usual_texts_are_read_fast(text: str) -> None:
    assert hold_equal(text, SourceFile(name="a", path="a.csv"))


@pytest.mark.parametrize("text", ["", "a,b\r1,2\r", 'a,b\n1,"open\n', 'a,b\n1,"x"y\n', "a,b\n1\n"])
def test_other_texts_are_left_to_the_strict_reader(text: str) -> None:
    assert quick(text, SourceFile(name="a", path="a.csv")) is None


@SETTINGS
@given(signs=st.lists(st.sampled_from(SIGNS), min_size=1, max_size=60), piece=st.integers(1, 9))
def test_lines_found_piece_by_piece_are_the_lines_of_the_whole(
    signs: list[str], piece: int
) -> None:
    content = "".join(signs).encode()
    whole = find_lines(content, delimiter=",", quote='"')
    parts = find_lines(content, delimiter=",", quote='"', piece=piece)
    assert [whole.text(line) for line in range(whole.ends.size)] == [
        line.decode() for line in io.BytesIO(content)
    ]
    np.testing.assert_array_equal(parts.ends, whole.ends)
    np.testing.assert_array_equal(parts.cells, whole.cells)


@SETTINGS
@given(
    parts=st.lists(st.sampled_from([
        b"a,b\n", b"\xc3\xa9", b"\xe9", b"\xef\xbb\xbf", b"\xef\xbf\xbd", b"\x00", b"\xc3", b"\x81",
    ]), max_size=6),
    encoding=st.sampled_from(["utf-8", "UTF-8-sig", "cp1252", "latin-1", "ascii", "utf-16"]),
)  # fmt: skip
def test_bytes_are_taken_as_they_are_only_where_decoding_gives_them(
    parts: list[bytes], encoding: str
) -> None:
    content = b"".join(parts)
    try:
        decoded = decode_content(content, PATH, encoding)
    except InputFileError:
        with pytest.raises(InputFileError):
            as_utf8(content, PATH, encoding)
    else:
        assert as_utf8(content, PATH, encoding).decode() == decoded
