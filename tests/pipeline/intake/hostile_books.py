"""Hostile workbooks, OpenDocument, Parquet, JSON lines and archives, like hostile_text.py."""

import gzip
import io
import json
import zipfile
from collections.abc import Mapping

import polars as pl

from tests.pipeline.intake.hostile_text import GOOD, SECRET, Hostile
from tests.pipeline.intake.spreadsheets import (
    HEADER_ROW,
    ods,
    ods_row,
    row,
    workbook_parts,
    xlsx,
    zipped,
)

ROWS = HEADER_ROW + row(2, "A1", "L", "2021-02-01") + row(3, SECRET, "R", "2021-03-05")
ODS_ROWS = ods_row("Case", "Side", "Date") + ods_row(SECRET, "L", "2021-02-01")
LAUGHS = '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>'
LINES = '{"Case": "A1", "Side": "L", "Date": "2021-02-01"}\n'


def _book(ends: str | tuple[int, int, int, int], content: bytes, says: str = "") -> Hostile:
    return Hostile(name="a.xlsx", content=content, ends=ends, says=says)


def _ods(ends: str | tuple[int, int, int, int], content: bytes, says: str = "") -> Hostile:
    return Hostile(name="a.ods", content=content, ends=ends, says=says)


def _lines(ends: str | tuple[int, int, int, int], content: str) -> Hostile:
    return Hostile(name="a.jsonl", content=content, ends=ends)


def _zip(ends: str | tuple[int, int, int, int], content: bytes, member: str = "a.csv") -> Hostile:
    return Hostile(name="a.zip", content=content, ends=ends, says=f'member = "{member}"')


def _cell(number: int, attributes: str, inside: str) -> str:
    """Write a second case whose date is such a cell."""
    cell = f'<c r="C{number}" {attributes}>{inside}</c></row>'
    return row(number, "A2", "L").removesuffix("</row>") + cell


def _patched(content: bytes, old: bytes, new: bytes) -> bytes:
    assert old in content
    return content.replace(old, new)


def _twice(name: str) -> bytes:
    """Pack two parts of one name."""
    packed = zipped({name: GOOD, "b" + name[1:]: "Case,Side,Date\nX,L,2021-01-01\n"})
    return _patched(packed, b"b" + name[1:].encode(), name.encode())


def _locked(content: bytes) -> bytes:
    """Set the mark of a password on the first part, in both of its places."""
    locked = bytearray(content)
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        locked[content.index(signature) + offset] |= 1
    return bytes(locked)


def _parquet(frame: pl.DataFrame) -> bytes:
    packed = io.BytesIO()
    frame.write_parquet(packed)
    return packed.getvalue()


CASES = pl.DataFrame({"Case": ["A1"], "Side": ["L"], "Date": ["2021-02-01"]})
FILLED = "".join(row(number, "x" * 20_000) for number in range(4, 1_004))
BOOKS: Mapping[str, Hostile] = {
    "a workbook": _book((2, 2, 0, 0), xlsx(ROWS)),
    "garbage called .xlsx": _book("cannot be read", b"\x00\x01garbage" * 100),
    "a workbook cut short": _book("cannot be read", xlsx(ROWS)[:-100]),
    "a workbook with a byte changed": _book(
        "damaged", _patched(zipped(workbook_parts({"Data": ROWS}), method=zipfile.ZIP_STORED),
                            b"A1", b"A9")),
    "an archive that is no workbook": _book("no workbook", zipped({"a.txt": "x"})),
    "an old or locked workbook": _book("password", b"\xd0\xcf\x11\xe0" + bytes(600)),
    "a cell in the far corner": _book(
        "columns", xlsx(ROWS + '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')),
    "a cell in the last row": _book(
        "A1048576", xlsx(ROWS + '<row r="1048576"><c r="A1048576"><v>1</v></c></row>')),
    "a row beyond the last": _book("no workbook has", xlsx(ROWS + '<row r="99999999"/>')),
    "a cell of no place": _book((2, 2, 0, 0), xlsx(ROWS + '<row r="4"><c r="?"><v></v></c></row>')),
    "a cell that stands twice": _book("stands twice", xlsx(ROWS + row(3, "B", "L"))),
    "20,000 columns in a sheet": _book("columns", xlsx(
        '<row r="1">' + '<c t="inlineStr"><is><t>a</t></is></c>' * 20_000 + "</row>")),
    "a cell of a million characters": _book("million", xlsx(ROWS + row(4, "x" * 1_100_000))),
    "100,000 formatted blank rows": _book(
        (2, 2, 0, 0), xlsx(ROWS + "".join(f'<row r="{n}" s="1"/>' for n in range(4, 100_004)))),
    "a sheet that unfolds": _book("times its size", xlsx(ROWS + FILLED)),
    "entities in entities": _book("document type", zipped(
        workbook_parts({"Data": LAUGHS + "<worksheet>&b;</worksheet>"}))),
    "a text from another file": _book("document type", xlsx(ROWS, sharedStrings=(
        '<!DOCTYPE s [<!ENTITY f SYSTEM "file:///etc/hostname">]><sst><si><t>&f;</t></si></sst>'))),
    "XML that breaks off": _book(
        "well-formed", zipped(workbook_parts({"Data": "<worksheet><row"}))),
    "a text that is not there": _book("not there", xlsx(ROWS + _cell(4, 't="s"', "<v>7</v>"))),
    "a part that is not there": _book("not in it", zipped(
        {k: v for k, v in workbook_parts({"Data": ""}).items() if "sheets" not in k})),
    "a NUL in disguise": _book((3, 3, 0, 0), xlsx(ROWS + row(4, "A_x0000_2", "L", "2021-02-01"))),
    "a day of no calendar": _book((3, 3, 0, 0), xlsx(
        ROWS + _cell(4, 's="0"', "<v>99999999</v>"),
        styles='<styleSheet><cellXfs><xf numFmtId="14"/></cellXfs></styleSheet>')),
    "an error cell": _book((3, 3, 0, 0), xlsx(ROWS + _cell(4, 't="e"', "<v>#N/A</v>"))),
    "a formula nobody calculated": _book((3, 3, 0, 0), xlsx(ROWS + _cell(4, "", "<f>B2+1</f>"))),
    "hidden rows": _book("rows are hidden: 4", xlsx(
        ROWS + row(4, "A3", "L", "2021-02-01", settings='hidden="1"'))),
    "hidden rows, set aside": _book((3, 2, 1, 0), xlsx(
        ROWS + row(4, "A3", "L", "2021-02-01", settings='hidden="1"')),
        says='hidden_rows = "set_aside"'),
    "hidden columns": _book("columns are hidden: B, C", xlsx(
        ROWS, before='<cols><col min="2" max="16384" hidden="1"/></cols>')),
    "merged cells": _book("A2:A3", xlsx(
        HEADER_ROW + row(2, "A1", "L", "2021-02-01") + row(3, "", "R", "2021-02-01"),
        after='<mergeCells><mergeCell ref="A2:A3"/></mergeCells>')),
    "two sheets, none named": _book("several sheets", zipped(workbook_parts(
        {"One": "<worksheet/>", "Two": "<worksheet/>"}))),
    "an empty sheet": _book("empty", xlsx("")),
    "a workbook with a climbing part": _book("outside", zipped(
        workbook_parts({"Data": ""}) | {"../../evil.xml": "x"})),
    "an OpenDocument sheet": _ods((1, 1, 0, 0), ods(ODS_ROWS)),
    "a filled row repeated a million times": _ods(
        "repeated", ods(ODS_ROWS + ods_row(
            "A", "L", "x", settings='table:number-rows-repeated="1048576"'))),
    "a filled cell repeated 16,000 times": _ods(
        "columns", ods(ODS_ROWS + ods_row("A", "L", repeated=16_000))),
    "a blank row repeated a million times": _ods((1, 1, 0, 0), ods(
        ODS_ROWS + '<table:table-row table:number-rows-repeated="1048000"/>')),
    "entities in OpenDocument": _ods("document type", ods(ODS_ROWS, before=LAUGHS)),
    "a table in a cell": _ods("holds a table", ods(
        ODS_ROWS + '<table:table-row><table:table-cell><table:table table:name="x"/>'
        "</table:table-cell></table:table-row>")),
    "OpenDocument without content": _ods("no OpenDocument", zipped({"mimetype": "x"})),
    "hidden rows in OpenDocument": _ods("rows are hidden: 3", ods(
        ODS_ROWS + ods_row("A", "R", "x", settings='table:visibility="filter"'))),
    "garbage called .parquet": Hostile(
        name="a.parquet", content=b"PAR1" + bytes(40) + b"PAR1", ends="Parquet"),
    "lists in Parquet": Hostile(
        name="a.parquet", content=_parquet(CASES.with_columns(x=pl.lit([[1]]))), ends="plain"),
    "Parquet": Hostile(name="a.parquet", content=_parquet(CASES), ends=(1, 1, 0, 0)),
    "JSON lines": _lines((2, 1, 1, 0), LINES + "\n"),
    "a line that is no JSON": _lines("line 2", LINES + '{"Case": "A2", \n'),
    "a line that is a list": _lines("line 2", LINES + '["A2", "L"]\n'),
    "a key that stands twice": _lines("line 1", '{"Case": "A", "Case": "B"}\n'),
    "100,000 brackets": _lines("line 1", '{"Case": ' + "[" * 100_000 + "\n"),
    "half a character": _lines("line 1", '{"Case": "\\ud800", "Side": "L", "Date": ""}\n'),
    "20,000 keys": _lines("too many", json.dumps({f"k{n}": 1 for n in range(20_000)}) + "\n"),
    "numbers beyond all": _lines((2, 2, 0, 0), LINES + (
        '{"Case": 1' + "0" * 5_000 + ', "Side": NaN, "Date": 1e999, "x": {"y": [1]}}\n')),
    "a file in an archive": _zip((2, 2, 0, 0), zipped({"a.csv": GOOD, "b.csv": "x"})),
    "a bomb in an archive": _zip("times its size", zipped({"a.csv": GOOD + "\n" * 20_000_000})),
    "an archive that climbs": _zip("outside", zipped({"a.csv": GOOD, "../../b.csv": "x"})),
    "an archive with a password": _zip("password", _locked(zipped({"a.csv": GOOD}))),
    "an archive that names a part twice": _zip("one name", _twice("a.csv")),
    "an archive without that file": _zip('no file "c.csv"', zipped({"a.csv": GOOD}), "c.csv"),
    "an archive in an archive": _zip(
        "line", zipped({"a.zip": zipped({"a.csv": GOOD})}), "a.zip"),
    "a gzip file": Hostile(
        name="a.csv.gz", content=gzip.compress(GOOD.encode()), ends=(2, 2, 0, 0)),
    "a gzip bomb": Hostile(
        name="a.csv.gz", content=gzip.compress(bytes(40_000_000)), ends="times its size"),
    "a gzip file cut short": Hostile(
        name="a.csv.gz", content=gzip.compress(GOOD.encode())[:-9], ends="gzip"),
    "a text called .gz": Hostile(name="a.csv.gz", content=GOOD, ends="gzip"),
}  # fmt: skip
