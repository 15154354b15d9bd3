"""Workbooks and OpenDocument: headers of two rows, hidden, merged, errors, formulas, dates."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import fastexcel
import pytest
import xlsxwriter

from pipeline.intake.mapped import Mapped
from pipeline.intake.mapping import SourceFile
from pipeline.intake.number_formats import format_kind, number_text
from pipeline.intake.read import read_file
from pipeline.intake.sheet import ROW, Sheet, lay_out
from shared.errors import InputFileError
from tests.pipeline.intake.spreadsheets import ods, ods_row, row, workbook_parts, xlsx, zipped

# Two files that LibreOffice 7.4 wrote: one sheet with a title, a header of two rows with merged
# cells, a hidden row (6), a hidden column (D), real dates, a time, formulas and errors.
DATA = Path(__file__).parent / "data"
DEMO = Path(str(files("shared") / "demo" / "exports" / "lake"))
VISITS = SourceFile(
    name="v", path="visits.xlsx", format="xlsx", sheet="Visits", header_row=3, header_rows=2,
    hidden_rows="read", hidden_columns="read",
)  # fmt: skip
BOTH = {"xlsx": VISITS, "ods": replace(VISITS, path="visits.ods", format="ods")}
MapExport = Callable[[Mapping[str, str | bytes], str], Mapped]


def read(folder: Path, content: bytes, source: SourceFile) -> Sheet:
    (folder / source.path).write_bytes(content)
    return read_file(folder, source)


@pytest.mark.parametrize("kind", BOTH)
def test_a_merged_header_of_two_rows_names_each_column_from_top_to_bottom(kind: str) -> None:
    sheet = read_file(DATA, BOTH[kind])
    assert sheet.header == (
        "Case", "Left Date", "Left Grade", "Right Date", "Right Grade", "Weight (kg)",
        "Ratio", "Seen", "Time", "Note",
    )  # fmt: skip
    assert sheet.set_aside == (
        (1, "above the header"), (2, "blank row"), (3, "part of the header"), (7, "blank row"),
    )  # fmt: skip
    assert sheet.n_rows == sheet.rows.height + len(sheet.set_aside)


@pytest.mark.parametrize("kind", BOTH)
def test_cells_come_as_text_with_the_row_that_the_spreadsheet_shows(kind: str) -> None:
    rows = read_file(DATA, BOTH[kind]).rows
    assert rows[ROW].to_list() == [5, 6, 8, 9]
    assert rows["Case"].to_list() == ["0017", "0018", "0019", "TOTAL"]
    dates = ["2021-02-01 00:00:00", "01/02/2021", "2020-12-31 00:00:00", None]
    assert rows["Left Date"].to_list() == dates
    assert rows["Weight (kg)"].to_list() == ["3.45", "0.3", "1250.5", None]
    assert rows["Ratio"].to_list() == ["1.725", "#N/A", "#DIV/0!", "1254.25"]
    assert rows["Time"].to_list() == ["14:30:00", None, None, None]
    assert rows["Note"].to_list() == ["two  spaces", "hidden", "bold and plain", None]


@pytest.mark.parametrize("kind", BOTH)
def test_hidden_rows_and_columns_wait_for_a_word_of_the_mapping(kind: str) -> None:
    with pytest.raises(InputFileError, match=r"rows are hidden: 6\n.*hidden_rows"):
        read_file(DATA, replace(BOTH[kind], hidden_rows="refuse"))
    with pytest.raises(InputFileError, match=r"columns are hidden: D\n.*hidden_columns"):
        read_file(DATA, replace(BOTH[kind], hidden_columns="refuse"))
    sheet = read_file(DATA, replace(BOTH[kind], hidden_rows="set_aside", hidden_columns="ignore"))
    assert (6, "hidden row") in sheet.set_aside
    assert sheet.rows[ROW].to_list() == [5, 8, 9]
    assert "Right Date" not in sheet.rows.columns
    assert sheet.n_rows == sheet.rows.height + len(sheet.set_aside)


@pytest.mark.parametrize(
    ("name", "header_row"), [("Opérations", 3), ("Contrôles", 2), ("Complications", 2)]
)
def test_a_workbook_reads_as_another_reader_reads_it(name: str, header_row: int) -> None:
    """Against calamine, by fastexcel, on a workbook of ordinary cells."""
    source = SourceFile(
        name="d", path="rotules_lac.xlsx", format="xlsx", sheet=name, header_row=header_row
    )
    path = DEMO / source.path
    other = fastexcel.read_excel(path).load_sheet(
        name, header_row=None, skip_rows=0, dtypes="string"
    )
    laid = lay_out(
        other.to_polars().rows(), path=path, file=source.path, sheet=name,
        header_row=header_row, number_repeats=False,
    )  # fmt: skip
    sheet = read_file(DEMO, source)
    assert sheet.rows.equals(laid.rows)
    assert (sheet.set_aside, sheet.n_rows) == (laid.set_aside, laid.n_rows)


MERGED = xlsx(
    row(1, "Case", "Side", "Grade") + row(2, "A1", "L", "2") + row(3, "", "R", "3"),
    after='<mergeCells count="1"><mergeCell ref="A2:A3"/></mergeCells>',
)
PLAIN = SourceFile(name="m", path="m.xlsx", format="xlsx")


def test_merged_cells_of_the_table_wait_for_a_word_of_the_mapping(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"merged below the header: A2:A3\n.*merged_cells"):
        read(tmp_path, MERGED, PLAIN)
    first = read(tmp_path, MERGED, replace(PLAIN, merged_cells="first"))
    assert first.rows["Case"].to_list() == ["A1", None]
    filled = read(tmp_path, MERGED, replace(PLAIN, merged_cells="fill"))
    assert filled.rows["Case"].to_list() == ["A1", "A1"]


def test_a_header_of_a_text_file_is_carried_to_the_right_where_declared(tmp_path: Path) -> None:
    text = b"Case,Left,,Right,\n,Date,Grade,Date,Grade\nA1,a,1,b,2\n"
    source = SourceFile(name="t", path="t.csv", header_rows=2, header_fill=True)
    sheet = read(tmp_path, text, source)
    assert sheet.header == ("Case", "Left Date", "Left Grade", "Right Date", "Right Grade")
    assert sheet.set_aside == ((1, "part of the header"),)
    with pytest.raises(InputFileError, match='"Grade" stands twice'):
        read(tmp_path, text, replace(source, header_fill=False))


def test_a_blank_first_column_stays_the_first(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(tmp_path / "m.xlsx")
    sheet = book.add_worksheet()
    sheet.write_row(2, 1, ["Case", "Side"])
    sheet.write_row(3, 1, ["A1", "L"])
    book.close()
    found = read_file(tmp_path, replace(PLAIN, header_row=3))
    assert found.header == ("(column 1)", "Case", "Side")
    assert found.rows.rows() == [(4, "A1", "L")]


MAPPING = """
[[file]]
path = "{path}"
name = "a"
{more}
[[table]]
make = ["animals", "stifles"]
from = "a"
[table.columns]
local_animal = "Case"
side = {{ column = "Side", codes = {{ L = "left" }} }}
breed = "Breed"
weight_kg = "Weight"
surgery_date = "Date"
"""
BROKEN_ROWS = row(1, "Case", "Side", "Breed", "Weight", "Date") + (
    '<row r="2"><c r="A2" t="inlineStr"><is><t>A1</t></is></c>'
    '<c r="B2" t="inlineStr"><is><t>L</t></is></c>'
    '<c r="C2" t="e"><f>VLOOKUP(A2,Z1:Z9,1)</f><v>#N/A</v></c>'
    '<c r="D2"><f>X2/2.2</f></c><c r="E2" t="d"><v>2021-02-01T00:00:00</v></c></row>'
)


def test_error_cells_and_formulas_without_result_are_asked_about(map_export: MapExport) -> None:
    mapped = map_export({"a.xlsx": xlsx(BROKEN_ROWS)}, MAPPING.format(path="a.xlsx", more=""))
    asked = mapped.findings.filter(rule="M17").sort("variable")
    assert asked.select("variable", "value", "row", "column").rows() == [
        ("breed", "#N/A", 2, "Breed"), ("weight_kg", "=X2/2.2", 2, "Weight"),
    ]  # fmt: skip
    assert mapped.tables["animals"].select("breed", "raw:breed").row(0) == (None, "#N/A")
    assert mapped.tables["stifles"]["weight_kg"].to_list() == [None]
    assert mapped.missing.filter(variable="weight_kg").is_empty()


def test_a_declared_word_is_no_error(map_export: MapExport) -> None:
    more = '[missing]\nnot_recorded = ["#N/A"]\n'
    mapping = more + MAPPING.format(path="a.xlsx", more="")
    mapped = map_export({"a.xlsx": xlsx(BROKEN_ROWS)}, mapping)
    assert mapped.findings.filter(rule="M17")["variable"].to_list() == ["weight_kg"]


def test_a_sheet_that_nobody_reads_is_asked_about(map_export: MapExport) -> None:
    data = f"<worksheet><sheetData>{BROKEN_ROWS}</sheetData></worksheet>"
    content = zipped(workbook_parts({"Data": data, "More": data}))
    mapping = MAPPING.format(path="a.xlsx", more='sheet = "Data"')
    asked = map_export({"a.xlsx": content}, mapping).findings.filter(rule="M12")
    assert asked.select("file", "sheet").rows() == [("a.xlsx", "More")]
    more = 'sheet = "Data"\nignore_others = ["More"]'
    mapped = map_export({"a.xlsx": content}, MAPPING.format(path="a.xlsx", more=more))
    assert mapped.findings.filter(rule="M12").is_empty()


def test_opendocument_repeats_notes_and_spaces(tmp_path: Path) -> None:
    rows = ods_row("Case", "Note") + ods_row("A1", "x", settings='table:number-rows-repeated="2"')
    rows += (
        "<table:table-row><table:table-cell office:value-type='string'><office:annotation>"
        "<text:p>said in a note</text:p></office:annotation><text:p>A<text:s text:c='2'/>2</text:p>"
        "<text:p>next</text:p></table:table-cell></table:table-row>"
    )
    source = replace(PLAIN, path="m.ods", format="ods")
    sheet = read(tmp_path, ods(rows), source)
    assert sheet.rows.rows() == [(2, "A1", "x"), (3, "A1", "x"), (4, "A  2\nnext", None)]


@pytest.mark.parametrize(
    ("written", "kind", "text"),
    [
        ("44228", "date", "2021-02-01 00:00:00"),
        ("44228.604166666664", "date", "2021-02-01 14:30:00"),
        ("59", "date", "1900-02-28 00:00:00"),
        ("60", "date", "60"),
        ("61", "date", "1900-03-01 00:00:00"),
        ("-1", "date", "-1"),
        ("0.6041666666666666", "time", "14:30:00"),
        ("1.5", "elapsed", "36:00:00"),
        ("0.30000000000000004", "", "0.3"),
        ("1E+16", "", "10000000000000000"),
        ("276098100123456", "", "276098100123456"),
        ("1E-07", "", "0.0000001"),
        ("-0", "", "0"),
        ("nan", "", "nan"),
        ("x", "date", "x"),
    ],
)
def test_numbers_of_a_workbook_become_plain_text(written: str, kind: str, text: str) -> None:
    """Serial 60 is the 29 February 1900 that no calendar has (common practice, no source)."""
    assert number_text(written, kind, from_1904=False) == text


def test_the_other_calendar_of_workbooks_begins_in_1904() -> None:
    assert number_text("42766", "date", from_1904=True) == "2021-02-01 00:00:00"


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        ("dd/mm/yyyy", "date"), ("[$-407]d. mmmm yyyy;@", "date"), ("mmm", "date"),
        ("h:mm AM/PM", "time"), ("[h]:mm:ss", "elapsed"), ("General", ""), ("0.00", ""),
        ('0.0" days"', ""), ("[Red]0.00;[Blue]-0.00", ""), ("#,##0\\ \\d", ""), ("0.00E+00", ""),
    ],
)  # fmt: skip
def test_a_number_format_tells_dates_from_numbers(code: str, kind: str) -> None:
    assert format_kind(code) == kind
