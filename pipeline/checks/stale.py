"""Answers that fit no cell any more: the export says it by itself now, or says something else."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING

import polars as pl

from pipeline.checks.place import rows_named, words_of
from pipeline.checks.rekey import joint_code
from pipeline.checks.values import read_value
from pipeline.intake.mapped import Mapped
from schemas.codebook import Variable
from schemas.findings import findings

if TYPE_CHECKING:
    from pipeline.corrections_file import Correction


def is_settled(mapped: Mapped, item: "Correction", variables: Mapping[tuple[str, str], Variable]
               ) -> bool:  # fmt: skip
    """Say whether the clinic's own record has taken the answer over by now."""
    if not item.table:
        return True  # the row or file that was asked about is no longer there
    frame = mapped.tables[item.table]
    rows = rows_named(words_of(mapped.tables, item.table), frame, item)
    if rows.is_empty():
        return item.decision in ("deleted", "confirmed")
    if item.decision in ("confirmed", "deleted"):
        return item.decision == "deleted"
    now = frame.join(rows, on="row_id", how="semi", maintain_order="left")
    if item.decision == "unknown":
        return now[item.variable].null_count() == now.height
    variable = variables[item.table, item.variable]
    value = read_value(joint_code(item.new, item.animal, variable), variable, "corrections.csv")
    if isinstance(value, date) and variable.kind != "date":
        cell = mapped.dates.filter(pl.col("variable") == item.variable)
        given = now.join(cell.select("row_id", "on"), on="row_id", how="left")["on"]
    else:
        given = now[item.variable]
    return bool((given == value).fill_null(value=False).all())


def stale_findings(mapped: Mapped, items: Iterable["Correction"]) -> pl.DataFrame:
    """Say that corrections no longer fit their cells."""
    return findings(_stale(mapped, item) for item in items)


def _stale(mapped: Mapped, item: "Correction") -> dict[str, object]:
    frame = mapped.tables[item.table]
    rows = rows_named(words_of(mapped.tables, item.table), frame, item)
    cell = rows.row(0, named=True) if rows.height else {"row_id": "", "raw": ""}
    place = frame.filter(pl.col("row_id") == cell["row_id"])
    first = place.row(0, named=True) if place.height else {}
    now = f'the cell now says "{cell["raw"]}"' if first else "this row is no longer in the export"
    return {
        "rule": "K01", "action": "ask", "clinic_id": item.clinic, "table": item.table,
        "row_id": cell["row_id"], "variable": item.variable,
        "key": ", ".join(part for part in (item.animal, item.side, item.day) if part),
        "file": first.get("file", ""), "sheet": first.get("sheet", ""), "row": first.get("row"),
        "value": cell["raw"],
        "says": f'An answer was given for a cell that said "{item.old_raw}", but {now}.',
        "fix": "Give the answer again for the export as it is now.",
    }  # fmt: skip
