"""Parquet, JSON lines, archives and folders of many files: same text, same account of rows."""

import gzip
import io
from collections.abc import Callable, Mapping
from datetime import date, datetime
from pathlib import Path

import polars as pl
import pytest

from pipeline.intake.mapped import Mapped
from pipeline.intake.mapping import SourceFile
from pipeline.intake.read import read_file
from pipeline.intake.sheet import ROW
from shared.errors import MappingError
from tests.pipeline.intake.spreadsheets import row, xlsx, zipped

MapExport = Callable[[Mapping[str, str | bytes], str], Mapped]
CSV = "Case,Side,Date\nA1,L,2021-02-01\nA2,L,2021-03-05\n"
MAPPING = """
[[file]]
name = "a"
path = "{path}"
{more}
[[table]]
make = ["stifles"]
from = "a"
[table.columns]
local_animal = "Case"
side = {{ column = "Side", codes = {{ L = "left" }} }}
surgery_date = "Date"
"""


def parquet(frame: pl.DataFrame) -> bytes:
    content = io.BytesIO()
    frame.write_parquet(content)
    return content.getvalue()


def test_parquet_columns_come_as_text_and_rows_are_counted_from_one(tmp_path: Path) -> None:
    frame = pl.DataFrame({
        "text": ["0017", None, " "], "day": [date(2021, 2, 1), None, None],
        "moment": [datetime(2021, 2, 1, 14, 30), None, None], "number": [3.45, None, None],
        "yes": [True, None, None], "count": [3, None, None],
    })  # fmt: skip
    (tmp_path / "a.parquet").write_bytes(parquet(frame))
    sheet = read_file(tmp_path, SourceFile(name="a", path="a.parquet", format="parquet"))
    day = "2021-02-01"
    expected = (1, "0017", f"{day} 00:00:00", f"{day} 14:30:00", "3.45", "true", "3")
    assert sheet.rows.rows() == [expected]
    assert sheet.set_aside == ((2, "blank row"), (3, "blank row"))
    assert sheet.n_rows == 3


def test_json_lines_keep_numbers_as_written_and_count_lines(tmp_path: Path) -> None:
    (tmp_path / "a.jsonl").write_text(
        '{"Case": "0017", "Weight": 3.40}\n\n{"Weight": 1e3, "Case": null, "Seen": true}\n', "utf-8"
    )
    sheet = read_file(tmp_path, SourceFile(name="a", path="a.jsonl", format="jsonl"))
    assert sheet.header == ("Case", "Weight", "Seen")
    assert sheet.rows.rows() == [(1, "0017", "3.40", None), (3, None, "1e3", "true")]
    assert sheet.set_aside == ((2, "blank row"),)
    assert sheet.n_rows == 3


BOOK = xlsx(row(1, "Case", "Side", "Date") + row(2, "A1", "L", "2021-02-01")
            + row(3, "A2", "L", "2021-03-05"))  # fmt: skip
LINES = (
    '{"Case":"A1","Side":"L","Date":"2021-02-01"}\n{"Case":"A2","Side":"L","Date":"2021-03-05"}\n'
)
WAYS: Mapping[str, tuple[str, str, bytes]] = {
    "text": ("a.csv", "", CSV.encode()),
    "gzip": ("a.csv.gz", "", gzip.compress(CSV.encode())),
    "gzip, utf-16": ("a.csv.gz", 'encoding = "utf-16"', gzip.compress(CSV.encode("utf-16"))),
    "text in a zip": ("a.zip", 'member = "in/a.csv"', zipped({"in/a.csv": CSV})),
    "workbook": ("a.xlsx", "", BOOK),
    "workbook in a zip": ("a.zip", 'member = "a.xlsx"', zipped({"a.xlsx": BOOK})),
    "JSON lines in a gzip": ("a.jsonl.gz", "", gzip.compress(LINES.encode())),
    "Parquet": ("a.parquet", "", parquet(pl.DataFrame({
        "Case": ["A1", "A2"], "Side": "L", "Date": [date(2021, 2, 1), date(2021, 3, 5)]}))),
}  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_a_table_maps_to_the_same_rows_in_every_format(map_export: MapExport, way: str) -> None:
    path, more, content = WAYS[way]
    mapped = map_export({path: content}, MAPPING.format(path=path, more=more))
    stifles = mapped.tables["stifles"].select("local_animal", "side", "surgery_date")
    assert stifles.rows() == [("A1", "left", date(2021, 2, 1)), ("A2", "left", date(2021, 3, 5))]
    assert mapped.findings.is_empty()
    assert mapped.ledger.select("source_rows", "mapped").row(0) == (2, 2)


def test_a_pattern_reads_every_file_with_a_ledger_line_each(map_export: MapExport) -> None:
    files: dict[str, str | bytes] = {
        "2021/b.csv": CSV, "2021/a.csv": CSV.replace("A", "B"), "2022/c.csv": "Case,Side,Date\n",
        "notes.txt": "x",
    }  # fmt: skip
    mapped = map_export(files, MAPPING.format(path="20??/*.csv", more="ignore_others = []"))
    assert mapped.ledger.select("file", "source_rows", "mapped").rows() == [
        ("2021/a.csv", 2, 2), ("2021/b.csv", 2, 2), ("2022/c.csv", 0, 0),
    ]  # fmt: skip
    places = mapped.tables["stifles"].select("local_animal", "file", "row").rows()
    assert places == [
        ("B1", "2021/a.csv", 2), ("B2", "2021/a.csv", 3),
        ("A1", "2021/b.csv", 2), ("A2", "2021/b.csv", 3),
    ]  # fmt: skip
    unread = mapped.findings.filter(rule="M12")
    assert unread["file"].to_list() == ["notes.txt"]


def test_a_file_meant_by_two_patterns_is_refused(map_export: MapExport) -> None:
    twice = MAPPING.format(path="*.csv", more='[[file]]\nname = "b"\npath = "a.*"\n')
    with pytest.raises(MappingError, match=r"both read a\.csv"):
        map_export({"a.csv": CSV}, twice)


def test_a_name_with_a_bracket_is_a_name(tmp_path: Path) -> None:
    (tmp_path / "export [1].csv").write_text(CSV, "utf-8")
    sheet = read_file(tmp_path, SourceFile(name="a", path="export [1].csv"))
    assert sheet.rows[ROW].to_list() == [2, 3]


def test_a_file_of_an_archive_that_nobody_reads_is_asked_about(map_export: MapExport) -> None:
    content = zipped({"a.csv": CSV, "b.csv": CSV})
    mapping = MAPPING.format(path="a.zip", more='member = "a.csv"')
    asked = map_export({"a.zip": content}, mapping).findings.filter(rule="M12")
    assert ['"b.csv"' in text for text in asked["says"]] == [True]
    more = 'member = "a.csv"\nignore_others = ["b.csv"]'
    mapped = map_export({"a.zip": content}, MAPPING.format(path="a.zip", more=more))
    assert mapped.findings.is_empty()
    assert mapped.ledger["file"].to_list() == ["a.zip/a.csv"]
