"""The workbook of the contract, filled in, is read like the same rows as CSV."""

import re
import zipfile
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from xml.sax.saxutils import escape

import polars as pl
import pytest
import xlsxwriter

from pipeline.check import check
from pipeline.contract import WORKBOOK, write_contract
from pipeline.intake.mapped import Mapped
from pipeline.intake.study_intake import read_study
from pipeline.simulate.simulated import simulate_study
from schemas.codebook import CANONICAL_TABLES, of_table, read_codebook
from shared.errors import StudyError

BOOK = read_codebook()
CLINIC = "north"
ZERO = date(1899, 12, 30)  # day 0 of a workbook
Tables = dict[str, pl.DataFrame]


def cell(value: object, style: str) -> str:
    """A cell as a spreadsheet program saves it when somebody types this."""
    if value is None:
        return ""
    if isinstance(value, bool):  # the column's format is text, so that it stays a word
        value = str(value).lower()
    if isinstance(value, date):
        return f'<c r="@" s="{style}"><v>{(value - ZERO).days}</v></c>'
    if isinstance(value, int | float):
        return f'<c r="@"><v>{value!r}</v></c>'
    return f'<c r="@" s="{style}" t="inlineStr"><is><t>{escape(str(value))}</t></is></c>'


def letter(place: int) -> str:
    return (chr(64 + place // 26) if place >= 26 else "") + chr(65 + place % 26)


def filled(sheet: str, rows: Iterable[tuple[object, ...]]) -> str:
    """Type rows below the header of a sheet."""
    found = re.findall(r'<col min="(\d+)" max="(\d+)"[^>]* style="(\d+)"', sheet)
    styles = {place: style for low, high, style in found
              for place in range(int(low) - 1, int(high))}  # fmt: skip
    lines = [
        f'<row r="{line}">'
        + "".join(cell(value, styles.get(place, "0")).replace("@", f"{letter(place)}{line}", 1)
                  for place, value in enumerate(row))
        + "</row>"
        for line, row in enumerate(rows, start=2)
    ]  # fmt: skip
    assert "</sheetData>" in sheet
    return sheet.replace("</sheetData>", "".join(lines) + "</sheetData>")


def fill(template: Path, out: Path, tables: Tables) -> None:
    """Fill the workbook in as a clinic would, and save it under another name."""
    out.parent.mkdir(parents=True)
    with zipfile.ZipFile(template) as book, zipfile.ZipFile(out, "w") as saved:
        for name in book.namelist():
            content = book.read(name)
            for place, table in enumerate(CANONICAL_TABLES, start=2):
                if name == f"xl/worksheets/sheet{place}.xml":
                    content = filled(content.decode(), tables[table].iter_rows()).encode()
            saved.writestr(name, content)


@pytest.fixture(scope="module")
def tables() -> Tables:
    """Invented rows of one clinic in the columns of the templates; reasons stand for some."""
    made = {
        table: rows.filter(clinic_id=CLINIC)
        for table, rows in simulate_study(3, 200).tables.items()
    }
    made["stifles"] = made["stifles"].with_columns(
        pl.col("age_months").round(1), grade_state=pl.lit("not_recorded")
    )
    return {
        table: made[table].select(item.name for item in of_table(BOOK, table))
        for table in CANONICAL_TABLES
    }


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    study = tmp_path_factory.mktemp("contract")
    (study / "study.toml").write_text('title = "T"\n')
    write_contract(study)
    return study / "contract" / WORKBOOK


@pytest.fixture(scope="module")
def both(
    tables: Tables, template: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Mapped, Mapped]:
    """The same rows sent as a filled-in workbook, and as CSV files."""
    folder = tmp_path_factory.mktemp("filled")
    fill(template, folder / "workbook" / "exports" / CLINIC / "our data.xlsx", tables)
    sent = folder / "csv" / "exports" / CLINIC
    sent.mkdir(parents=True)
    for table, rows in tables.items():
        rows.write_csv(sent / f"{table}.csv")
    return read_study(folder / "workbook", BOOK), read_study(folder / "csv", BOOK)


@pytest.mark.parametrize("table", CANONICAL_TABLES)
def test_every_row_is_read_as_from_csv(both: tuple[Mapped, Mapped], table: str) -> None:
    names = [item.name for item in of_table(BOOK, table)]
    workbook, text = (item.tables[table].select(names) for item in both)
    assert workbook.equals(text)
    assert workbook.height > 0 or table in ("implants", "measurements")


def test_nothing_is_asked_that_csv_would_not_ask(both: tuple[Mapped, Mapped]) -> None:
    asked = [item.findings.select("rule", "variable", "says").rows() for item in both]
    assert asked[0] == asked[1]
    assert not [row for row in both[0].findings["rule"] if row.startswith("M")]


def test_its_rows_are_accepted(both: tuple[Mapped, Mapped], tables: Tables) -> None:
    checked = check(both[0], BOOK)
    assert checked.stopped.is_empty()
    assert checked.tables["stifles"].height == tables["stifles"].height > 5


def test_every_row_has_its_sheet_and_row(both: tuple[Mapped, Mapped]) -> None:
    first = both[0].tables["rechecks"].row(0, named=True)
    assert (first["file"], first["sheet"], first["row"]) == ("our data.xlsx", "rechecks", 2)


def test_a_reason_may_stand_for_a_value(both: tuple[Mapped, Mapped]) -> None:
    why = both[0].missing.filter(table="stifles", variable="grade_state")["reason"].unique()
    assert why.to_list() == ["not_recorded"]


def small_workbook(folder: Path, clinic_rows: list[list[str]], header: list[str]) -> None:
    """A workbook with two sheets of the nine."""
    path = folder / "exports" / CLINIC / "a.xlsx"
    path.parent.mkdir(parents=True)
    book = xlsxwriter.Workbook(str(path))
    for name, rows in (("clinics", [["clinic_id", "clinic_type"], *clinic_rows]),
                       ("stifles", [header])):  # fmt: skip
        sheet = book.add_worksheet(name)
        for place, row in enumerate(rows):
            sheet.write_row(place, 0, row)
    book.close()


@pytest.mark.parametrize(
    ("clinic_rows", "header", "says"),
    [
        ([], ["local_animal"], "facts of the clinic are missing"),
        ([["lake", "referral"]], ["local_animal"], 'clinic_id is not that of the folder, "north"'),
        ([["north", "referral"]], ["local_animal", "weigth_kg"], 'Did you mean "weight_kg"'),
    ],
)
def test_what_is_wrong_with_a_workbook_is_said(
    tmp_path: Path, clinic_rows: list[list[str]], header: list[str], says: str
) -> None:
    small_workbook(tmp_path, clinic_rows, header)
    with pytest.raises(StudyError, match=says):
        read_study(tmp_path, BOOK)
