"""The query list as a workbook: one line a question, a choice for the answer."""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from shared.files import replacing

ANSWERS = ("corrected", "correct as it is", "cannot be found", "delete this row")
MADE = datetime(2000, 1, 1, tzinfo=UTC).replace(tzinfo=None)  # no clock: same bytes
WIDTHS: Mapping[str, int] = {
    "query_id": 14, "status": 7, "priority": 18, "file": 19, "sheet": 12, "row": 6, "column": 18,
    "animal": 20, "value": 18, "what is wrong": 46, "what to do": 40, "answer": 16,
    "right value": 18, "remark": 24,
}  # fmt: skip
LINE = 15  # points; a wrapped cell needs one for each line of its text
TO_FILL = ("answer", "right value", "remark")
FOR_COORDINATOR = ("table", "variable", "rule")
GUIDE = (
    "Please answer each line: choose an answer, and give the right value where you correct one.",
    "Write the right value as your export writes it, in the unit of its column.",
    'Answer "correct as it is" if the record says the same; the question is then not asked again.',
    'Answer "cannot be found" if nobody can tell; the value then counts as not recorded.',
    'Answer "delete this row" if the row should not be there: a copy, or another animal\'s.',
    "Change the three yellow columns only. Send the file back to the coordinator.",
)


def write_workbook(path: Path, queries: pl.DataFrame) -> None:
    """Write the questions of one clinic; the same questions give the same bytes.

    Cells are written as text and cannot run as formulas.
    """
    with replacing(path) as draft:
        book = xlsxwriter.Workbook(str(draft), {
            "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
        })  # fmt: skip
        book.set_properties({"created": MADE, "title": "Questions about the export"})
        _questions(book, queries)
        guide = book.add_worksheet("How to answer")
        guide.set_column(0, 0, 100)
        for place, line in enumerate(GUIDE):
            guide.write_string(place, 0, line)
        book.close()


def _questions(book: xlsxwriter.Workbook, queries: pl.DataFrame) -> None:
    sheet = book.add_worksheet("Questions")
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    cell_style = {"text_wrap": True, "valign": "top", "align": "left",
                  "bottom": 1, "bottom_color": "#C8C8C8"}  # fmt: skip
    text = book.add_format(cell_style)
    fill = book.add_format(cell_style | {"bg_color": "#FFF7D6"})
    for place, name in enumerate(queries.columns):
        unused = name == "sheet" and not any(queries[name])  # text files have no sheets
        hidden = {"hidden": True} if name in FOR_COORDINATOR or unused else {}
        sheet.set_column(place, place, WIDTHS.get(name, 14), None, hidden)
        sheet.write_string(0, place, name, head)
        style = fill if name in TO_FILL else text
        for line, cell in enumerate(queries[name], start=1):
            if cell is None or cell == "":
                sheet.write_blank(line, place, None, style)
            elif isinstance(cell, int):
                sheet.write_number(line, place, cell, style)
            else:
                sheet.write_string(line, place, cell, style)
    for line, row in enumerate(queries.iter_rows(named=True), start=1):
        sheet.set_row(line, LINE * _lines(row))
    _set_up_page(sheet)
    last = max(queries.height, 1)
    sheet.autofilter(0, 0, last, len(queries.columns) - 1)
    answer = queries.columns.index("answer")
    sheet.data_validation(1, answer, last, answer, {
        "validate": "list", "source": list(ANSWERS), "input_title": "Choose an answer",
        "input_message": "If corrected, give the right value in the next cell.",
        "error_message": "Choose one of the answers of the list.",
    })  # fmt: skip


def _set_up_page(sheet: Worksheet) -> None:
    sheet.freeze_panes(1, 0)
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.set_margins(left=0.4, right=0.4)
    sheet.set_header("&L" + GUIDE[0])
    sheet.set_footer("&RPage &P of &N")
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)


def _lines(row: Mapping[str, object]) -> int:
    """Lines of the longest wrapped cell; not every spreadsheet program works this out itself."""
    return max(1, *(-(-len(str(row[name] or "")) // (width - 2)) for name, width in WIDTHS.items()))
