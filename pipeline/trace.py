"""`sulca trace`: the cells of the exports behind one value of the cohort, and what became of them.

Everything is made anew from the exports as they are now.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.intake.mapped import ELSEWHERE, MISSING_ROW, RAW, numbered
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.study_intake import clinic_mapping
from pipeline.run import Run
from pipeline.stopped_stifle import why_stopped
from pipeline.trace_sources import BY_BEGINNING, sources_of
from pipeline.trace_step import Step, step_of
from shared.errors import InputFileError, nearest
from shared.files import as_text

STIFLE = ["clinic_id", "local_stifle"]
ANIMAL = ["clinic_id", "local_animal"]
HOLDS = {"relux": "outcome:reluxation", "implant": "outcome:implant"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell of an export, and all that was done with it.

    `raw` is None where nothing stands in it or where it may not be shown (a birth date).
    """

    table: str
    variable: str
    row_id: str
    clinic: str
    file: str
    sheet: str
    row: int | None
    column: str
    raw: str | None
    step: Step
    value: object
    marks: tuple[str, ...]
    missing: str
    rules: tuple[str, ...]
    answers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """One value of the cohort with the cells behind it; `held` names rules that hold it."""

    stifle: str
    variable: str
    label: str
    definition: str
    value: object
    held: tuple[str, ...]
    cells: tuple[Cell, ...]


def trace(done: Run, stifle: str, variable: str) -> Trace:
    """Trace one value of the cohort back to the cells it rests on.

    Raises
    ------
    InputFileError
        If there is no such stifle or column.
    """
    table = done.the_cohort.table
    if variable not in table.columns:
        raise InputFileError(
            "--variable", f'the cohort has no column "{variable}"',
            do=nearest(variable, table.columns),
        )  # fmt: skip
    row = table.filter(pl.col("stifle_id") == stifle)
    if row.is_empty():
        stopped = why_stopped(done, stifle)
        if stopped:
            raise InputFileError("--stifle", stopped, do="Answer what is asked of its row first.")
        raise InputFileError(
            "--stifle", "there is no such stifle in the cohort",
            do=nearest(stifle, table["stifle_id"]),
        )  # fmt: skip
    declared = [item for item in done.codebook if item.name == variable]
    item = next((one for one in declared if one.table == "cohort"), declared[0])
    mappings: dict[str, ClinicMapping] = {}
    cells = [cell for name in sources_of(variable, done.codebook)
             for cell in _cells(done, row.row(0, named=True), name, mappings)]  # fmt: skip
    return Trace(
        stifle=stifle, variable=variable, label=item.label, definition=item.definition,
        value=row[variable].item(), held=_held(done, stifle, variable), cells=tuple(cells),
    )  # fmt: skip


def _held(done: Run, stifle: str, variable: str) -> tuple[str, ...]:
    """Name the rules that hold a variable, or the outcome it belongs to."""
    targets = [variable]
    if any(variable.startswith(name) for name in BY_BEGINNING):
        targets += ["outcome:all", HOLDS.get(variable.partition("_")[0], variable)]
    holds = done.linked.holds.filter(pl.col("stifle_id") == stifle, pl.col("target").is_in(targets))
    rows = holds.select("rule", "target").unique().sort("rule", "target").rows()
    return tuple(f"{rule} holds {target}" for rule, target in rows)


def _cells(
    done: Run, stifle: Mapping[str, Any], source_name: str, mappings: dict[str, ClinicMapping]
) -> list[Cell]:
    """Give the cells of one source variable, in the order of their rows."""
    table, name = source_name.split(".")
    mapped, linked = done.corrected.mapped, done.linked.tables[table]
    rows = _rows_of(done, stifle, table)
    values = dict(linked.select("row_id", name).rows())
    item = next(one for one in done.codebook if (one.table, one.name) == (table, name))
    found: list[Cell] = []
    for linked_row in rows.iter_rows(named=True):
        row = linked_row | _place(done, linked_row)
        clinic = row["clinic_id"]
        if clinic not in mappings:
            mappings[clinic] = clinic_mapping(done.study.folder, clinic, done.codebook)
        source = _source_row(row["row_id"])
        where = _where(mapped.marks, row, source, name)
        column = where.get("column") or _column(mapped.columns, row, table, name)
        step = step_of(mappings[clinic], item, block=row["block"], column=column)
        found.append(Cell(
            table=table, variable=name, row_id=row["row_id"], clinic=clinic,
            file=where.get("file") or row["file"], sheet=where.get("sheet") or row["sheet"],
            row=where.get("row") or row["row"], column=column,
            raw=_raw(done, row, table, name) if step.shown else None, step=step,
            value=values.get(row["row_id"], row.get(name)),
            marks=_marks(done, row, name), missing=_missing(mapped.missing, source, name),
            rules=_rules(done, row["row_id"], source, name), answers=_answers(done, source, name),
        ))  # fmt: skip
    return found


def _rows_of(done: Run, stifle: Mapping[str, Any], table: str) -> pl.DataFrame:
    """Give the rows behind a stifle: of its own, of its animal, of its clinic; stopped ones too."""
    frame, every = done.linked.tables[table], done.corrected.mapped.tables[table]
    if "stifle_id" in frame.columns:
        rows = frame.filter(pl.col("stifle_id") == stifle["stifle_id"])
        own = pl.all_horizontal(pl.col(name) == stifle[name] for name in STIFLE)
        stopped = every.filter(own).join(done.checked.stopped, on="row_id", how="semi")
        return pl.concat([as_text(rows), as_text(stopped)], how="diagonal").sort("row_id")
    if table == "clinics":
        return frame.filter(pl.col("clinic_id") == stifle["clinic_id"])
    # The rows of an animal were merged into one; any of them may have given the value.
    ids = done.linked.tables["animals"].filter(pl.col("animal_id") == stifle["animal_id"])
    return every.join(ids, on=ANIMAL, how="semi", maintain_order="left")


def _place(done: Run, row: Mapping[str, Any]) -> dict[str, Any]:
    """Give the address of the row, or of the row that it was made of."""
    source = _source_row(row["row_id"])
    frame = done.corrected.mapped.tables[source.split("/")[1]]
    found = frame.filter(pl.col("row_id") == source).select("file", "sheet", "row", "block")
    return found.row(0, named=True) if found.height else {"block": row.get("block") or ""}


def _source_row(row_id: str) -> str:
    """Give the row that a derived row was made of: "north/rechecks/12/reluxation"."""
    return "/".join(row_id.split("/")[:3])


def _column(columns: pl.DataFrame, row: Mapping[str, Any], table: str, name: str) -> str:
    place = (pl.col(part).eq_missing(pl.lit(row[part])) for part in ("file", "sheet", "block"))
    found = columns.filter(
        pl.col("clinic_id") == row["clinic_id"], pl.col("table") == table,
        pl.col("variable") == name, *place,
    )["column"]  # fmt: skip
    return found[0] if found.len() else ""


def _raw(done: Run, row: Mapping[str, Any], table: str, name: str) -> str | None:
    """Give the text as received: before any correction."""
    source = _source_row(row["row_id"])
    old = done.corrected.trail.filter(
        pl.col("row_id") == source, pl.col("variable") == name, pl.col("decision") != "confirmed"
    )
    if old.height:
        return old["old_raw"][0]
    frame = done.corrected.mapped.tables[table]
    cell = frame.filter(pl.col("row_id") == row["row_id"])
    return cell[RAW + name][0] if cell.height else None  # a derived row has no cell of its own


def _where(marks: pl.DataFrame, row: Mapping[str, Any], source: str, name: str) -> dict[str, Any]:
    """Give the place of a value that came from another row or another column."""
    other = marks.filter(
        pl.col("row_id") == source, pl.col("variable") == name, pl.col("mark").is_in(ELSEWHERE)
    )
    return dict(other.row(0, named=True)) if other.height and row["row_id"] == source else {}


def _marks(done: Run, row: Mapping[str, Any], name: str) -> tuple[str, ...]:
    own = done.checked.marks.filter(
        pl.col("row_id") == row["row_id"],
        pl.col("variable") == name,
        pl.col("mark") != "other_column",  # the column itself is shown
    )
    said: list[str] = []
    for mark, window in own.select("mark", "window_days").unique().sort("mark").rows():
        said.append(f"{mark} by up to {window} days" if mark == "nominal" and window else mark)
    stopped = done.checked.stopped.filter(pl.col("row_id") == row["row_id"])["rule"]
    said += [f"this row is stopped by {rule} and not used" for rule in stopped]
    return (*said, *(["row made or changed by the checks"] if row.get("derived") else []))


def _missing(missing: pl.DataFrame, source: str, name: str) -> str:
    cell = numbered(pl.DataFrame({"row_id": [source]}))
    found = missing.filter(pl.col("variable") == name).join(cell, on=MISSING_ROW)["reason"]
    return found[0] if found.len() else ""


def _rules(done: Run, row_id: str, source: str, name: str) -> tuple[str, ...]:
    asked = done.findings.filter(
        pl.col("row_id").is_in([row_id, source]), pl.col("variable") == name
    ).sort("rule", "says")
    rows = asked.select("rule", "action", "says").rows()
    return tuple(f"{rule} ({action}): {says}" for rule, action, says in rows)


def _answers(done: Run, source: str, name: str) -> tuple[str, ...]:
    lines = done.corrected.trail.filter(pl.col("row_id") == source, pl.col("variable") == name)
    return tuple(
        f"{line['decision']}"
        + (f' to "{line["new"]}"' if line["decision"] == "corrected" else "")
        + f", {line['query_id']}, {line['who']}, {line['when']}"
        + (f": {line['reason']}" if line["reason"] else "")
        for line in lines.iter_rows(named=True)
    )
