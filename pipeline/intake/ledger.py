"""Every source row has one fate: mapped, set aside, or unreadable."""

import hashlib
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import polars as pl

from pipeline.intake.lines import Bools
from pipeline.intake.mapped import LEDGER_SCHEMA, SET_ASIDE_SCHEMA
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.parts import Reading
from pipeline.intake.sheet import ROW, Sheet
from pipeline.intake.words import SAYINGS
from schemas.findings import findings

Aside = Sequence[tuple[str, str, int, str]]  # file, sheet, row, reason


def unused_rows(
    sheets: Iterable[Sheet], aside: Aside, used: Sequence[pl.DataFrame]
) -> pl.DataFrame:
    """Give file, sheet and row of data rows that were neither set aside nor made anything.

    Parameters
    ----------
    used
        Frames of file, sheet and row, each a row that made something.
    """
    places = {"file": pl.String(), "sheet": pl.String(), "row": pl.Int64()}
    declared = pl.DataFrame([item[:3] for item in aside], schema=places, orient="row")
    left = [pl.DataFrame(schema=places)]
    for sheet in sheets:
        fated = _marked_rows(sheet, [declared, *used])
        row = sheet.rows[ROW]
        unread = row.filter(~pl.Series(fated[row.to_numpy()], dtype=pl.Boolean))
        place = {"file": pl.lit(sheet.file), "sheet": pl.lit(sheet.sheet)}
        left.append(unread.to_frame("row").select(**place, row="row"))
    return pl.concat(left).sort(list(places))


def _marked_rows(sheet: Sheet, frames: Sequence[pl.DataFrame]) -> Bools:
    """Tell of each row number of a sheet whether one of these frames names it."""
    named = [frame.filter(file=sheet.file, sheet=sheet.sheet)["row"] for frame in frames]
    last = max(int(row.max() or 0) for row in (sheet.rows[ROW], *named))  # type: ignore[call-overload]
    marked = np.zeros(last + 1, dtype=np.bool_)
    for row in named:
        marked[row.to_numpy()] = True
    return marked


def make_ledger(
    sheets: Iterable[Sheet], aside: Aside, *, used: Sequence[pl.DataFrame], unread: pl.DataFrame,
    clinic_id: str,
) -> pl.DataFrame:  # fmt: skip
    """Count the rows of each file and sheet, each fate by itself, and hold the sum."""
    rows: list[dict[str, Any]] = []
    for sheet in sheets:
        declared = sum(item[:2] == (sheet.file, sheet.sheet) for item in aside)
        lost = unread.filter(file=sheet.file, sheet=sheet.sheet).height
        made = int(_marked_rows(sheet, used).sum())
        entry: dict[str, Any] = {
            "clinic_id": clinic_id, "file": sheet.file, "sheet": sheet.sheet,
            "source_rows": sheet.n_rows,
            "mapped": made,
            "set_aside": declared + len(sheet.set_aside),
            "unreadable": lost + len(sheet.ragged),
        }  # fmt: skip
        if entry["source_rows"] != entry["mapped"] + entry["set_aside"] + entry["unreadable"]:
            raise AssertionError(f"rows of {clinic_id}/{sheet.file} do not add up: {entry}")
        rows.append(entry)
    return pl.DataFrame(rows, schema=dict(LEDGER_SCHEMA))


def set_aside_rows(sheets: Iterable[Sheet], aside: Aside, clinic_id: str) -> pl.DataFrame:
    """List the rows set aside: titles and blank rows, and those a rule of the mapping names."""
    rows = [
        (clinic_id, sheet.file, sheet.sheet, row, "layout", reason)
        for sheet in sheets for row, reason in sheet.set_aside
    ]  # fmt: skip
    rows += [(clinic_id, file, sheet, row, "mapping", reason) for file, sheet, row, reason in aside]
    frame = pl.DataFrame(rows, schema=dict(SET_ASIDE_SCHEMA), orient="row")
    return frame.sort("file", "sheet", "row")


def sheet_findings(
    sheets: Iterable[Sheet], mapping: ClinicMapping, *, unread: pl.DataFrame, reading: Reading
) -> list[pl.DataFrame]:
    """Make findings of files without rows, ragged rows, rows nobody takes, columns nobody reads."""
    clinic = {"clinic_id": mapping.clinic_id}
    ragged = [
        clinic | {
            "rule": "M08", "action": "stop", "file": sheet.file, "sheet": sheet.sheet, "row": row,
            "says": SAYINGS["M08"][0].format(fields=fields, width=len(sheet.header)),
            "fix": SAYINGS["M08"][1],
        }
        for sheet in sheets for row, fields in sheet.ragged
    ]  # fmt: skip
    marks = _text_marks(sheets, unread)
    lost = [
        clinic | {
            "rule": "M11", "action": "stop", "file": file, "sheet": sheet, "row": row,
            "key": f"unread row {marks[file, sheet, row]}",
            "says": SAYINGS["M11"][0], "fix": SAYINGS["M11"][1],
        }
        for file, sheet, row in unread.rows()
    ]  # fmt: skip
    columns = [
        clinic | {
            "rule": "M13", "action": "ask", "file": file, "sheet": sheet, "column": column,
            "says": f'Nothing reads the column "{column}".',
            "fix": "The coordinator maps it, or lists it under ignore in the mapping.",
        }
        for file, sheet, column in reading.unmapped_columns
    ]  # fmt: skip
    quiet = {file.path for file in mapping.files if file.may_be_empty}
    bare = [
        clinic | {
            "rule": "M16", "action": "ask", "file": sheet.file, "sheet": sheet.sheet,
            "says": "The file holds column names but no row.",
            "fix": "Confirm that there is nothing to report, or export it again.",
        }
        for sheet in sheets
        if sheet.rows.is_empty() and not sheet.ragged and sheet.file not in quiet
    ]  # fmt: skip
    return [findings(bare), findings(ragged), findings(lost), findings(columns)]


def _text_marks(sheets: Iterable[Sheet], unread: pl.DataFrame) -> dict[tuple[str, str, int], str]:
    """Name each row that nothing takes by its text, so that an answer finds it if it moves."""
    marks: dict[tuple[str, str, int], str] = {}
    for sheet in sheets:
        lost = unread.filter(file=sheet.file, sheet=sheet.sheet).select(pl.col("row").alias(ROW))
        if lost.is_empty():
            continue
        rows = sheet.rows.join(lost, on=ROW, how="semi", maintain_order="left")
        for number, *texts in rows.select(ROW, pl.exclude(ROW)).iter_rows():
            text = "\x1f".join(text or "" for text in texts)
            marks[sheet.file, sheet.sheet, number] = hashlib.sha256(text.encode()).hexdigest()[:8]
    return marks
