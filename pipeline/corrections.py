"""Documented corrections: applied where the old text still stands, never silently."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path

import polars as pl

from pipeline.checks.answers import read_answers
from pipeline.checks.rekey import follow_keys, joint_code
from pipeline.checks.values import read_value
from pipeline.checks.words import key_in_words
from pipeline.intake.days import recount_days
from pipeline.intake.mapped import RAW, Mapped
from schemas.codebook import Variable
from schemas.findings import findings
from shared.errors import InputFileError, nearest

__all__ = ["Corrected", "Correction", "correct", "read_answers", "read_corrections"]
DECISIONS = ("corrected", "confirmed")
DAY_OF = {"rechecks": "recheck_day", "complications": "detected_day",
          "revisions": "revision_day", "implants": "implant_removed_day",
          "measurements": "image_day"}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One line of corrections.csv; `day` is the day of the row, or "event 2" and the like."""

    query_id: str
    clinic: str
    table: str
    animal: str
    side: str
    day: str
    variable: str
    old_raw: str
    new: str
    decision: str
    reason: str
    who: str
    when: str


COLUMNS = tuple(item.name for item in fields(Correction))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corrected:
    """Mapped rows after correction.

    Attributes
    ----------
    confirmed
        Ids of questions answered "correct as it is" about cells that still say the same.
    applied, silenced, stale
        Corrections that changed a cell, confirmations that hold, and both kinds whose old text
        no longer stands: each of these is a finding K01.
    """

    mapped: Mapped
    confirmed: frozenset[str]
    applied: int
    silenced: int
    stale: int


def read_corrections(path: Path, codebook: Iterable[Variable]) -> tuple[Correction, ...]:
    """Read corrections.csv; a study without one has none.

    Raises
    ------
    InputFileError
        If a column, table, variable or decision is not known, or a new value is not readable.
    """
    if not path.exists():
        return ()
    try:
        reader = csv.DictReader(path.read_text("utf-8-sig").splitlines())
    except UnicodeDecodeError as error:
        raise InputFileError(str(path), "no UTF-8 text", do="Save it as CSV UTF-8.") from error
    _check_columns(reader.fieldnames or (), path)
    variables = {(item.table, item.name): item for item in codebook}
    read: list[Correction] = []
    for number, row in enumerate(reader, start=2):
        where = f"{path}, row {number}"
        _check_cells(row, where)
        correction = Correction(**{name: _plain(row[name]) for name in COLUMNS})
        _check(correction, variables, where)
        read.append(correction)
    return tuple(read)


def correct(mapped: Mapped, corrections: Sequence[Correction], codebook: tuple[Variable, ...]
            ) -> Corrected:  # fmt: skip
    """Apply corrections to the cells they name, and collect what the clinics confirmed."""
    variables = {(item.table, item.name): item for item in codebook}
    now = mapped
    mended: list[tuple[str, str]] = []
    confirmed: list[str] = []
    old: list[Mapping[str, object]] = []
    for item in corrections:
        rows, stands = _rows_named(now.tables[item.table], item)
        if item.decision == "confirmed" and (stands.height or _of_no_row(item)):
            confirmed.append(item.query_id)
        elif item.decision == "corrected" and stands.height:
            now = _mend(now, stands, variables[item.table, item.variable], item)
            mended += [(row_id, item.variable) for row_id in stands["row_id"]]
        else:
            old.append(_stale(item, rows))
    applied = len(corrections) - len(confirmed) - len(old)
    if mended:
        now = recount_days(now, codebook, settled=_settled(mended, now, mapped))
    return Corrected(
        mapped=_without_answered(now, mended, findings(old)), confirmed=frozenset(confirmed),
        applied=applied, silenced=len(confirmed), stale=len(old),
    )  # fmt: skip


def _settled(mended: Sequence[tuple[str, str]], now: Mapped, before: Mapped
             ) -> list[tuple[str, str]]:  # fmt: skip
    """Give the corrected cells but those that were corrected by a date, which is counted."""
    dated = set(now.dates.join(before.dates, on=now.dates.columns, how="anti", nulls_equal=True)
                .select("row_id", "variable").rows())  # fmt: skip
    return [cell for cell in mended if cell not in dated]


def _plain(cell: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from running a cell as a formula."""
    text = cell.strip()
    return text[1:] if text[:1] == "'" and text[1:2] in set("=+-@") else text


def _check_columns(header: Sequence[str], path: Path) -> None:
    unknown = [name for name in header if name not in COLUMNS]
    absent = [name for name in COLUMNS if name not in header]
    if unknown or absent:
        what = f'"{unknown[0]}" is not known' if unknown else f'"{absent[0]}" is missing'
        remedy = nearest(unknown[0], COLUMNS) if unknown else f"The header is {','.join(COLUMNS)}."
        raise InputFileError(f"{path}, row 1", f"the column {what}", do=remedy)


def _check_cells(row: Mapping[str, object], where: str) -> None:
    if None in row or None in row.values():
        raise InputFileError(
            where, "it has more or fewer cells than the header",
            do="Mend the row; put texts with a comma in quotes.",
        )  # fmt: skip


def _check(item: Correction, variables: Mapping[tuple[str, str], Variable], where: str) -> None:
    if (item.table, item.variable) not in variables:
        names = [f"{table}.{name}" for table, name in variables]
        raise InputFileError(
            where, f'there is no variable "{item.table}.{item.variable}"',
            do=nearest(f"{item.table}.{item.variable}", names),
        )  # fmt: skip
    if item.decision not in DECISIONS:
        raise InputFileError(
            where,
            f'the decision "{item.decision}" is not known',
            do=nearest(item.decision, DECISIONS),
        )
    if item.decision == "corrected":
        read_value(item.new, variables[item.table, item.variable], where)


def _of_no_row(item: Correction) -> bool:
    """Say whether the question was about a whole file or export."""
    return not item.old_raw and not item.side and not item.day and bool(item.query_id)


def _rows_named(frame: pl.DataFrame, item: Correction) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Give the rows the correction names, and those of them that still hold the old text."""
    named = frame.with_columns(words=key_in_words(frame, item.table))
    by_number = ", ".join(part for part in (item.animal, item.side, item.day) if part)
    match = (pl.col("words") == by_number) | (
        pl.col("words") == by_number.removesuffix(item.day) + f"day {item.day}"
    )
    day = DAY_OF.get(item.table)
    if day is not None and item.day.lstrip("-").isdigit():
        place = pl.col("words").str.starts_with(f"{item.animal}, {item.side}, ")
        match = match | (place & (pl.col(day) == int(item.day)))
    rows = named.filter(pl.col("clinic_id") == item.clinic, match)
    text = pl.col(RAW + item.variable).fill_null("").str.strip_chars()
    return rows, rows.filter(text == item.old_raw.strip())


def _mend(mapped: Mapped, rows: pl.DataFrame, variable: Variable, item: Correction) -> Mapped:
    """Put a new value into the cells, or the date from which a day or age is counted."""
    named = pl.col("row_id").is_in(rows["row_id"].implode())
    new = joint_code(item.new, item.animal, variable)
    value = read_value(new, variable, "corrections.csv")
    dated = isinstance(value, date) and variable.kind != "date"
    before = mapped.tables[item.table]
    after = before.with_columns(
        pl.when(named).then(pl.lit(None if dated else value, dtype=variable.dtype))
        .otherwise(pl.col(variable.name)).alias(variable.name),
        pl.when(named).then(pl.lit(new)).otherwise(pl.col(RAW + variable.name))
        .alias(RAW + variable.name),
    )  # fmt: skip
    tables = follow_keys(
        {**mapped.tables, item.table: after}, before, rows["row_id"], variable
    )  # fmt: skip
    return replace(mapped, tables=tables, dates=_with_date(mapped.dates, rows, item, value)
                   if dated else mapped.dates)  # fmt: skip


def _with_date(dates: pl.DataFrame, rows: pl.DataFrame, item: Correction, value: object
               ) -> pl.DataFrame:  # fmt: skip
    cell = ["row_id", "variable"]
    added = rows.select(
        "clinic_id", "row_id", table=pl.lit(item.table), variable=pl.lit(item.variable),
        on=pl.lit(value, pl.Date), days=pl.lit(None, pl.Int64), counted_from=pl.lit("this"),
    ).select(dates.columns)  # fmt: skip
    return pl.concat([dates.join(added, on=cell, how="anti", maintain_order="left"), added])


def _stale(item: Correction, rows: pl.DataFrame) -> dict[str, object]:
    """Say that a correction no longer fits its cell."""
    first = rows.row(0, named=True) if rows.height else {}
    now = (f'the cell now says "{first[RAW + item.variable] or ""}"' if first
           else "this row is no longer in the export")  # fmt: skip
    return {
        "rule": "K01", "action": "ask", "clinic_id": item.clinic, "table": item.table,
        "row_id": first.get("row_id", ""), "variable": item.variable,
        "key": ", ".join(part for part in (item.animal, item.side, item.day) if part),
        "file": first.get("file", ""), "sheet": first.get("sheet", ""), "row": first.get("row"),
        "value": first.get(RAW + item.variable) or "",
        "says": f'An answer was given for a cell that said "{item.old_raw}", but {now}.',
        "fix": "Give the answer again for the export as it is now.",
    }  # fmt: skip


def _without_answered(mapped: Mapped, mended: Sequence[tuple[str, str]], stale: pl.DataFrame
                      ) -> Mapped:  # fmt: skip
    """Leave out what intake asked, knew to be missing or to be planned, of cells mended now."""
    on = ["row_id", "variable"]
    cells = pl.DataFrame(list(mended), schema=dict.fromkeys(on, pl.String), orient="row")
    planned = cells.with_columns(mark=pl.lit("nominal"))  # a corrected day is the day itself
    return replace(
        mapped, missing=mapped.missing.join(cells, on=on, how="anti", maintain_order="left"),
        findings=pl.concat([
            mapped.findings.join(cells, on=on, how="anti", maintain_order="left"), stale,
        ]),
        marks=mapped.marks.join(planned, on=planned.columns, how="anti", maintain_order="left"),
    )  # fmt: skip
