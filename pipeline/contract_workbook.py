"""The workbook a clinic may fill in: a sheet per table, drop-down lists, limits, notes."""

from collections.abc import Iterable
from datetime import UTC, date, datetime
from pathlib import Path

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from pipeline.intake.canonical_workbook import CODES, READ_ME
from pipeline.intake.mapping import MISSING_REASONS
from schemas.codebook import CANONICAL_TABLES, Variable, of_table
from schemas.contract import TABLES
from schemas.dictionary import in_words, when_needed
from schemas.rules.declared import PLACE
from schemas.table_schema import MISSING
from shared.files import replacing

MADE = datetime(2000, 1, 1, tzinfo=UTC).replace(tzinfo=None)  # no clock: same bytes
LAST_ROW = 5000  # of the lists and limits; rows below are read all the same
MUST, MAY = "#DCE8F2", "#F2F2F2"  # header of what must be filled, and of the rest
Choice = str | int
Lists = dict[tuple[str, str], str]


def write_contract_workbook(path: Path, codebook: Iterable[Variable], guide: list[str]) -> None:
    """Write the empty workbook; the same codebook and guide give the same bytes.

    Parameters
    ----------
    guide
        Lines of the first sheet.
    """
    declared = tuple(codebook)
    with replacing(path) as draft:
        book = xlsxwriter.Workbook(str(draft), {
            "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
        })  # fmt: skip
        book.set_properties({"created": MADE, "title": "Tables to fill in"})
        first = book.add_worksheet(READ_ME)
        first.set_column(0, 0, 110)
        for place, line in enumerate(guide):
            first.write_string(place, 0, line)
        sheets = {table: book.add_worksheet(table) for table in CANONICAL_TABLES}
        lists = _write_codes(book, declared)
        for table, sheet in sheets.items():
            _lay_out(book, sheet, of_table(declared, table), lists)
        book.close()


def _choices(item: Variable) -> list[tuple[Choice, str]]:
    """Give the codes of a list and their labels: numbers as such, true and false as words."""
    return [(int(code) if item.kind == "int" else code, label)
            for code, label in item.codes.items()]  # fmt: skip


def _write_codes(book: Workbook, codebook: tuple[Variable, ...]) -> Lists:
    """Write the sheet of all codes; give the cells of each variable's list."""
    sheet, bold = book.add_worksheet(CODES), book.add_format({"bold": True})
    words = book.add_format({"num_format": "@"})
    for place, (name, width) in enumerate(
        {"table": 16, "variable": 26, "code": 28, "label": 44}.items()
    ):
        sheet.set_column(place, place, width)
        sheet.write_string(0, place, name, bold)
    sheet.freeze_panes(1, 0)
    lists: Lists = {}
    line = 1
    for item in (one for one in codebook if one.codes and one.table in CANONICAL_TABLES):
        start = line
        reasons = [] if _places(item) else [(code, MISSING[code]) for code in MISSING_REASONS]
        for code, label in (*_choices(item), *reasons):
            sheet.write_string(line, 0, item.table)
            sheet.write_string(line, 1, item.name)
            if isinstance(code, int):
                sheet.write_number(line, 2, code)
            else:
                sheet.write_string(line, 2, code, words)
            sheet.write_string(line, 3, label)
            line += 1
        lists[item.table, item.name] = f"={CODES}!$C${start + 1}:$C${line}"
    return lists


def _places(item: Variable) -> bool:
    """Tell whether it gives a row its place: no reason can stand for it."""
    return (item.table, item.name) in PLACE


def _lay_out(
    book: Workbook, sheet: Worksheet, variables: tuple[Variable, ...], lists: Lists
) -> None:
    heads = {
        must: book.add_format({"bold": True, "bottom": 1, "bg_color": MUST if must else MAY})
        for must in (True, False)
    }
    words = book.add_format({"num_format": "@"})  # 00317 stays 00317, true stays a word
    cells: dict[str, Format] = {
        "string": words, "category": words, "bool": words,
        "date": book.add_format({"num_format": "yyyy-mm-dd"}),
    }  # fmt: skip
    for place, item in enumerate(variables):
        sheet.set_column(place, place, max(12, len(item.name) + 2), cells.get(item.kind))
        sheet.write_string(0, place, item.name, heads[item.required == "yes"])
        sheet.write_comment(0, place, _note(item), {"x_scale": 2.6, "y_scale": 2.2, "author": ""})
        _validate(sheet, place, item, lists.get((item.table, item.name)))
    sheet.freeze_panes(1, 0)


def _note(item: Variable) -> str:
    """Say in the note of a header what the column holds."""
    lines = [item.label + (f" ({item.unit})" if item.unit else ""), item.definition]
    if item.codes:
        lines.append(
            "One of: " + "; ".join(f"{code} = {name}" for code, name in item.codes.items())
        )
    if item.limits:
        lines.append(f"From {in_words(item.limits)}.")
    lines.append(f"Needed: {when_needed(item)}.")
    return "\n".join(line for line in lines if line)


def _validate(sheet: Worksheet, place: int, item: Variable, cells: str | None) -> None:
    """Put the list or the limits on a column; a reason for a missing value is always taken."""
    rule: dict[str, object]
    if cells:
        rule = {"validate": "list", "source": cells}
        says = "Choose from the list; the sheet Codes says what each code means."
    elif item.limits:
        rule = {"validate": "custom", "value": _formula(sheet, place, item)}
        says = f"{item.label}: {in_words(item.limits)} {item.unit}".rstrip() + "."
    else:
        return
    if not _places(item):
        says += " Or why it is missing: " + ", ".join(MISSING_REASONS) + "."
    sheet.data_validation(1, place, LAST_ROW, place, rule | {
        "error_title": item.name[:32], "error_message": says[:255],
    })  # fmt: skip


def _formula(sheet: Worksheet, place: int, item: Variable) -> str:
    """Write what is true of a number (a whole one, a date) within the limits, or of a reason."""
    cell = f"{xl_col_to_name(place)}2"
    low, high = (_bound(item, text) for text in item.limits or ("", ""))
    parts = [f"ISNUMBER({cell})", f"{cell}>={low}", f"{cell}<={high}"]
    if item.kind == "int":
        parts.append(f"{cell}=INT({cell})")
    words = [f'{cell}="{reason}"' for reason in ([] if _places(item) else MISSING_REASONS)]
    # IF, because a comparison of a text with a number would end the whole formula in an error
    within = f"IF(ISNUMBER({cell}),AND({','.join(parts[1:])}),FALSE)"
    return f"=OR({','.join([within, *words])})"


def _bound(item: Variable, text: str) -> str:
    if item.kind != "date":
        return text
    day = date.fromisoformat(text)
    return f"DATE({day.year},{day.month},{day.day})"


def table_guide() -> list[str]:
    """Say in one line per sheet what a row of it is."""
    return [f"{table}: {row}" + (" May stay empty." if optional else "")
            for table, (_, row, optional) in TABLES.items()]  # fmt: skip
