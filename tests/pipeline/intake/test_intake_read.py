"""Files as text: encodings, quotes, rows as a spreadsheet numbers them; bad files are named."""

from datetime import datetime
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter

from pipeline.intake.coded import as_text
from pipeline.intake.mapping import SourceFile
from pipeline.intake.read import read_file
from pipeline.intake.sheet import ROW, Sheet
from shared.errors import InputFileError


def read(folder: Path, content: bytes | str, **settings: object) -> Sheet:
    (folder / "a.csv").write_bytes(content.encode() if isinstance(content, str) else content)
    return read_file(folder, SourceFile(name="a", path="a.csv", **settings))  # pyright: ignore[reportArgumentType]


def message(folder: Path, content: bytes | str, **settings: object) -> str:
    with pytest.raises(InputFileError) as error:
        read(folder, content, **settings)
    return str(error.value)


@pytest.mark.parametrize(
    ("encoding", "content"),
    [
        ("utf-8", "Größe;Ort\n1;Süd\n".encode()),
        ("utf-8", "Größe;Ort\n1;Süd\n".encode("utf-8-sig")),
        ("utf-8-sig", "Größe;Ort\n1;Süd\n".encode()),
        ("cp1252", "Größe;Ort\r\n1;Süd\r\n".encode("cp1252")),
        ("latin-1", "Größe;Ort\r1;Süd\r".encode("latin-1")),
        ("utf-16", "Größe;Ort\r\n1;Süd\r\n".encode("utf-16")),
    ],
)
def test_each_declared_encoding_gives_the_same_text(
    tmp_path: Path, encoding: str, content: bytes
) -> None:
    sheet = read(tmp_path, content, encoding=encoding, delimiter=";")
    assert sheet.header == ("Größe", "Ort")
    assert sheet.rows.rows() == [(2, "1", "Süd")]


@pytest.mark.parametrize(("delimiter"), [",", ";", "\t", "|"])
def test_each_delimiter_parts_the_cells(tmp_path: Path, delimiter: str) -> None:
    sheet = read(tmp_path, f"a{delimiter}b\n1{delimiter}2\n", delimiter=delimiter)
    assert sheet.rows.rows() == [(2, "1", "2")]


def test_quoted_line_breaks_and_blank_lines_keep_spreadsheet_rows(tmp_path: Path) -> None:
    sheet = read(tmp_path, 'a,b\n1,"two\nlines"\n\n2,x\n')
    assert sheet.rows[ROW].to_list() == [2, 4]
    assert sheet.rows["b"].to_list() == ["two\nlines", "x"]
    assert sheet.set_aside == ((3, "blank row"),)
    assert sheet.n_rows == 3


def test_title_rows_stand_above_the_declared_header(tmp_path: Path) -> None:
    sheet = read(tmp_path, "Report 2021,\na,b\n1,2\n", header_row=2)
    assert sheet.rows.rows() == [(3, "1", "2")]
    assert sheet.set_aside == ((1, "above the header"),)


def test_rows_of_another_length_are_kept_apart(tmp_path: Path) -> None:
    sheet = read(tmp_path, "a,b\n1,2\n3\n4,5,6\n")
    assert sheet.rows[ROW].to_list() == [2]
    assert sheet.ragged == ((3, 1), (4, 3))


def test_the_wrong_delimiter_is_one_message(tmp_path: Path) -> None:
    text = message(tmp_path, "a,b;c\n1,2,3;4\n", delimiter=",")
    assert "row 2" in text
    assert "delimiter" in text


def test_an_unclosed_quote_names_the_row_where_it_opens(tmp_path: Path) -> None:
    text = message(tmp_path, 'a,b\n1,2\n3,"open\n5,6\n')
    assert "a.csv, row 3 (line 3)" in text


def test_a_declared_lack_of_quotes_leaves_them_in_the_text(tmp_path: Path) -> None:
    sheet = read(tmp_path, 'a,b\n1,2" pin\n', quote="")
    assert sheet.rows["b"].to_list() == ['2" pin']


@pytest.mark.parametrize(
    ("content", "encoding", "words"),
    [
        ("a\nSüd\n".encode("cp1252"), "utf-8", "line 2"),
        ("a\nSüd\n".encode(), "cp1252", "the text is UTF-8"),
        ("a\nSüd\n".encode("utf-8-sig"), "cp1252", "UTF-8 mark"),
        (b"a\n1\x00\n", "utf-8", "NUL"),
        ("a\nS\ufffdd\n".encode(), "utf-8", "replacement character"),
    ],
)
def test_text_in_another_encoding_is_refused(
    tmp_path: Path, content: bytes, encoding: str, words: str
) -> None:
    text = message(tmp_path, content, encoding=encoding)
    assert words in text
    assert "encoding in the mapping" in text


def test_an_empty_file_and_blank_lines_only_are_refused(tmp_path: Path) -> None:
    assert "empty" in message(tmp_path, "")
    assert "empty" in message(tmp_path, "\n\n")


def test_a_header_alone_gives_no_rows(tmp_path: Path) -> None:
    sheet = read(tmp_path, "a,b\n")
    assert sheet.rows.height == 0
    assert sheet.n_rows == 0


def test_a_missing_file_names_the_nearest(tmp_path: Path) -> None:
    (tmp_path / "stifles.csv").write_text("a\n")
    with pytest.raises(InputFileError, match=r'Did you mean "stifles\.csv"'):
        read_file(tmp_path, SourceFile(name="s", path="stifle.csv"))


def test_repeated_headers_are_refused_or_numbered(tmp_path: Path) -> None:
    assert '"Date" stands twice' in message(tmp_path, "Date,Date\n1,2\n")
    sheet = read(tmp_path, "Date,Date\n1,2\n", repeated_headers="number")
    assert sheet.header == ("Date", "Date (2)")


def workbook(folder: Path) -> Path:
    path = folder / "b.xlsx"
    book = xlsxwriter.Workbook(path, {"default_date_format": "dd/mm/yyyy"})
    sheet = book.add_worksheet("Visits")
    sheet.write_row(0, 0, ["Register"])
    sheet.write_row(2, 0, ["Case", "Date", "Weight"])
    sheet.write_string(3, 0, "0017")
    sheet.write_datetime(3, 1, datetime(2021, 2, 1))
    sheet.write_number(3, 2, 3.4)
    sheet.write_row(5, 0, ["0018", "01/02/2021", "3,4"])
    book.close()
    return path


def test_a_workbook_keeps_rows_leading_zeros_and_both_kinds_of_dates(tmp_path: Path) -> None:
    workbook(tmp_path)
    source = SourceFile(name="b", path="b.xlsx", format="xlsx", sheet="Visits", header_row=3)
    sheet = read_file(tmp_path, source)
    expected = [(4, "0017", "2021-02-01 00:00:00", "3.4"), (6, "0018", "01/02/2021", "3,4")]
    assert sheet.rows.rows() == expected
    assert sheet.set_aside == ((1, "above the header"), (2, "blank row"), (5, "blank row"))
    assert as_text(sheet.rows).schema == {ROW: pl.Int64, **dict.fromkeys(sheet.header, pl.String)}


def test_a_missing_sheet_names_the_nearest(tmp_path: Path) -> None:
    workbook(tmp_path)
    with pytest.raises(InputFileError, match='Did you mean "Visits"'):
        read_file(tmp_path, SourceFile(name="b", path="b.xlsx", format="xlsx", sheet="Visit"))


def test_a_file_that_is_no_workbook_is_one_message(tmp_path: Path) -> None:
    (tmp_path / "b.xlsx").write_bytes(b"not a workbook")
    with pytest.raises(InputFileError, match="cannot be read"):
        read_file(tmp_path, SourceFile(name="b", path="b.xlsx", format="xlsx"))


def test_a_wrong_header_row_says_so(tmp_path: Path) -> None:
    assert "there is no header in this row" in message(tmp_path, "a\n1\n", header_row=9)
