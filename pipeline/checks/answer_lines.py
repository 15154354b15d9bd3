"""One answered question -> its lines of corrections.csv: each names its cell, no row number."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.checks.answer_values import AnswerRefused, as_text, dialect_of, read_answer
from pipeline.checks.closed import KEEPS_ITS_ROW
from pipeline.checks.judge import NOT_CONFIRMABLE
from pipeline.checks.place import DAY_OF, rows_named, text_fingerprint, words_of
from pipeline.checks.words import query_ids
from pipeline.corrections_file import CONFIRMED, CORRECTED, DELETED, UNKNOWN, Correction
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.operations import index_operations
from pipeline.queries import asked_findings, queries_of, query_labels

if TYPE_CHECKING:
    from pipeline.run import Run

Refused = AnswerRefused
# "A-0104, left, day 42": the animal, then the side and the day or number where they are known.
NUMBERED = "day|event|revision|implant|image"
KEY = re.compile(rf"^(?P<animal>.*?)(?:, (?P<side>left|right))?(?:, (?P<day>(?:{NUMBERED}) .+))?$")
BY_DAY = ("complications", "revisions", "implants")
UNREAD = frozenset({"M11"})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """One open question: as the clinic saw it, and the findings behind it."""

    query_id: str
    clinic: str
    shown: Mapping[str, Any]
    rows: pl.DataFrame

    @property
    def first(self) -> Mapping[str, Any]:
        """The finding whose text stands in the list."""
        return self.rows.row(0, named=True)


def open_questions(done: "Run") -> dict[str, Asked]:
    """Give every question that is open now, with the findings behind it."""
    labels = query_labels(done.codebook)
    asked: dict[str, Asked] = {}
    for clinic in done.study.clinics:
        queries = queries_of(done.findings, clinic, labels)
        shown = {row["query_id"]: row for row in queries.iter_rows(named=True)}
        behind = asked_findings(done.findings, clinic)
        behind = behind.with_columns(query_id=query_ids(behind))
        parts = behind.group_by("query_id", maintain_order=True)
        by_id = {str(name): rows for (name,), rows in parts}
        for name, row in shown.items():
            rows = by_id[name]
            if row["animal"].startswith('every "'):
                first = rows.row(0, named=True)
                same = ("rule", "file", "sheet", "column", "table", "variable", "value")
                rows = behind.filter(pl.col(key) == first[key] for key in same)
            asked[name] = Asked(query_id=name, clinic=clinic, shown=row, rows=rows)
    return asked


def lines_of(asked: Asked, decision: str, right: str, *, done: "Run", mapping: ClinicMapping
             ) -> list[Correction]:  # fmt: skip
    """Give the lines that an answer makes.

    Raises
    ------
    AnswerRefused
        If this question cannot be answered so, or the right value cannot be read.
    """
    about_row = asked.first["row_id"] != ""
    _may_be_said(asked, decision, about_row=about_row)
    if not about_row:
        return [_line(asked, decision, animal=asked.first["key"])]
    made = [_of_row(asked, row, decision, right, done=done, mapping=mapping)
            for row in asked.rows.iter_rows(named=True)]  # fmt: skip
    lines = list(dict.fromkeys(line for line in made if line is not None))
    if not lines:
        raise Refused('the cell says so already; answer "correct as it is" if that is meant')
    return lines


def _may_be_said(asked: Asked, decision: str, *, about_row: bool) -> None:
    rule, action = asked.first["rule"], asked.first["action"]
    if rule.startswith("S"):
        raise Refused("what looks like an identifier is to be removed from the export itself")
    if decision == CONFIRMED:
        unread = rule.startswith("M") and action in ("stop", "hold")
        if unread or rule in NOT_CONFIRMABLE or action == "stop":
            raise Refused(
                "it cannot be used as it stands; give the right value, or answer "
                '"cannot be found" or "delete this row"'
            )
    elif not about_row and not (decision == DELETED and rule in UNREAD):
        raise Refused(
            "it is about a whole file or column; answer "
            + ('"delete this row"' if rule in UNREAD else '"correct as it is"')
            + ", or mend the next export"
        )
    elif decision == UNKNOWN and asked.first["variable"] in KEEPS_ITS_ROW and action in (
        "ask", "derive", "set_aside",
    ):  # fmt: skip
        raise Refused('the row needs this; answer "correct as it is" or give the right value')
    elif decision == DELETED and asked.first["table"] in ("animals", "clinics"):
        raise Refused("an animal cannot be left out alone; name the rows of its operations")


def _line(asked: Asked, decision: str, *, animal: str, side: str = "", day: str = "",
          old_raw: str = "", new: str = "") -> Correction:  # fmt: skip
    first = asked.first
    rule = first["rule"] if decision == CONFIRMED and first["row_id"] else ""
    return Correction(
        query_id=asked.query_id, clinic=asked.clinic, table=first["table"], animal=animal,
        side=side, day=day, variable=first["variable"], old_raw=old_raw, new=new or rule,
        decision=decision, reason="", who="", when="",
    )  # fmt: skip


def _of_row(asked: Asked, row: Mapping[str, Any], decision: str, right: str, *, done: "Run",
            mapping: ClinicMapping) -> Correction | None:  # fmt: skip
    """Give the line of one row, or none where the row says the right value already."""
    tables = done.corrected.mapped.tables
    frame = tables[row["table"]]
    cell = frame.filter(pl.col("row_id") == row["row_id"])
    if row["rule"] == "K01":
        return _again(asked, row, decision, right, done=done, mapping=mapping)
    if cell.is_empty():  # a row that the checks added: it stands or falls with its source row
        raise Refused("this row was added by the checks; answer the question it rests on")
    new = ""
    if decision == CORRECTED:
        new, decision = _new(cell, row, right, done=done, mapping=mapping)
        filled_in = row["action"] == "derive"  # "II-III" was taken as 3: now the clinic says 3
        if new and not filled_in and _says_so(cell, row["variable"], new):
            return None
    elif decision == UNKNOWN:
        new = row["rule"] if row["variable"] in KEEPS_ITS_ROW else "not_recorded"
    line = _addressed(asked, row, cell, decision=decision, new=new)
    named = rows_named(words_of(tables, row["table"]), frame, line).filter("stands")
    if line.decision == DELETED and named.height > 1:
        return _addressed(asked, row, cell, decision=decision,
                          new=text_fingerprint(cell.row(0, named=True)))  # fmt: skip
    behind = set(asked.rows["row_id"])
    if line.decision != CONFIRMED and not set(named["row_id"]) <= behind:
        raise Refused("several rows of the export have this name and text; mend the next export")
    return line


def _addressed(asked: Asked, row: Mapping[str, Any], cell: pl.DataFrame, *, decision: str,
               new: str) -> Correction:  # fmt: skip
    key = KEY.match(row["key"] if not row["key"].startswith('every "') else "")
    assert key is not None
    day = (key["day"] or "").removeprefix("day ")
    if row["table"] in BY_DAY:
        day = _by_day(row, cell) or day
    return _line(
        asked, decision, animal=key["animal"], side=key["side"] or "", day=day,
        old_raw=(cell[f"raw:{row['variable']}"].item() or "").strip(), new=new,
    )  # fmt: skip


def _by_day(row: Mapping[str, Any], cell: pl.DataFrame) -> str:
    """Name an event by its day, which stays when rows are added; its number may not."""
    day = cell[DAY_OF[row["table"]]].item()
    return "" if day is None else str(day)


def _again(asked: Asked, row: Mapping[str, Any], decision: str, right: str, *, done: "Run",
           mapping: ClinicMapping) -> Correction:  # fmt: skip
    """Answer anew where an earlier answer no longer fits its cell."""
    parts = row["key"].split(", ")
    side = next((part for part in parts[1:] if part in ("left", "right")), "")
    rest = parts[parts.index(side) + 1 :] if side else parts[1:]
    old = next((line for line in asked.rows.iter_rows(named=True)), row)
    cell = done.corrected.mapped.tables[row["table"]].filter(pl.col("row_id") == old["row_id"])
    new = "K01" if decision == CONFIRMED else ""
    if decision == CORRECTED:
        if cell.is_empty():
            raise Refused('this row is no longer in the export; answer "correct as it is"')
        new, decision = _new(cell, row, right, done=done, mapping=mapping)
    return _line(asked, decision, animal=parts[0], side=side, day=", ".join(rest),
                 old_raw=row["value"], new=new)  # fmt: skip


def _new(cell: pl.DataFrame, row: Mapping[str, Any], right: str, *, done: "Run",
         mapping: ClinicMapping) -> tuple[str, str]:  # fmt: skip
    """Read the right value; a word for missing makes the cell missing for that reason."""
    variable = next(item for item in done.codebook
                    if (item.table, item.name) == (row["table"], row["variable"]))  # fmt: skip
    if variable.name == "local_stifle" and row["table"] != "stifles":
        variable = next(item for item in done.codebook
                        if (item.table, item.name) == ("stifles", "local_stifle"))  # fmt: skip
        side = next(item for item in done.codebook
                    if (item.table, item.name) == ("stifles", "side"))  # fmt: skip
        dialect = dialect_of(mapping, side, column=row["column"], operations={})
        try:
            return read_answer(right, dialect).text or right, CORRECTED
        except Refused:
            return right, CORRECTED
    dialect = dialect_of(mapping, variable, column=row["column"],
                         operations=_operations(done, cell))  # fmt: skip
    read = read_answer(right, dialect)
    if not read.missing:
        return read.text, CORRECTED
    if variable.name in KEEPS_ITS_ROW:
        raise Refused("the right value says that it is missing, but the row needs it")
    return read.missing, UNKNOWN


def _operations(done: "Run", cell: pl.DataFrame) -> dict[str, date]:
    if "local_stifle" not in cell.columns:
        return {}
    stifles = done.corrected.mapped.tables["stifles"]
    own = stifles.filter(pl.col("clinic_id") == cell["clinic_id"].item())
    found = index_operations(own).filter(pl.col("local_stifle") == cell["local_stifle"].item())
    names = ("this", "first", "last", "left", "right")
    return {name: found[name].item() for name in names
            if found.height == 1 and found[name].item() is not None}  # fmt: skip


def _says_so(cell: pl.DataFrame, name: str, new: str) -> bool:
    value = cell[name].item()
    return value is not None and as_text(value) == new
