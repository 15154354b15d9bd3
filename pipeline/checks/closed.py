"""Cells that a clinic cannot tell, and questions that an answer leaves nothing to ask of."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline.checks.place import DAY_OF, words_of
from pipeline.checks.words import query_ids
from pipeline.intake.days import NO_SURGERY_DATE
from pipeline.intake.mapped import (
    MISSING_CELL,
    MISSING_SCHEMA,
    RAW,
    Mapped,
    cell_names,
    numbered,
)
from schemas.findings import query_id

if TYPE_CHECKING:
    from pipeline.corrections_file import Correction

# What places a row: where it cannot be found, the row stays as it is, stopped or held.
KEEPS_ITS_ROW = frozenset({"local_animal", "local_stifle", "side", "surgery_date",
                           *DAY_OF.values()})  # fmt: skip
CELL = ["row_id", "variable"]


def known_missing(mapped: Mapped, item: "Correction", row_ids: pl.Series) -> Mapped:
    """Empty cells whose value the clinic cannot find: missing, not recorded."""
    named = pl.col("row_id").is_in(row_ids.implode())
    frame = mapped.tables[item.table].with_columns(
        pl.when(~named).then(pl.col(name)).alias(name)
        for name in (item.variable, RAW + item.variable)
    )
    cells = cell_names(frame.filter(named).select(
        "row_id", variable=pl.lit(item.variable), reason=pl.lit("not_recorded"),
    ))  # fmt: skip
    unknown = numbered(cells).select(
        pl.col(name).cast(dtype) for name, dtype in MISSING_SCHEMA.items()
    )
    before = mapped.missing.join(unknown, on=MISSING_CELL, how="anti", maintain_order="left")
    dates = mapped.dates.join(cells, on=CELL, how="anti", maintain_order="left")
    return replace(mapped, tables={**mapped.tables, item.table: frame}, dates=dates,
                   missing=pl.concat([before, unknown]))  # fmt: skip


def asked_of(mapped: Mapped, item: "Correction", row_ids: pl.Series) -> set[str]:
    """Give the ids of the question, and of days that only wait for the date asked about."""
    ids = {item.query_id}
    if item.new:
        named = words_of(mapped.tables, item.table).rows
        names = named.filter(pl.col("row_id").is_in(row_ids.implode()))["words"]
        ids |= {query_id(item.clinic, item.table, key, item.variable, item.new) for key in names}
    if item.variable != "surgery_date":
        return ids
    stifles = mapped.tables["stifles"].filter(pl.col("row_id").is_in(row_ids.implode()))
    waiting = mapped.findings.filter(pl.col("rule") == NO_SURGERY_DATE)
    for table in waiting["table"].unique().sort():
        rows = mapped.tables[table].join(stifles, on=["clinic_id", "local_stifle"], how="semi")
        ids |= set(query_ids(waiting.join(rows, on="row_id", how="semi", maintain_order="left")))
    return ids


def without_answered(mapped: Mapped, mended: Sequence[tuple[str, str]], stale: pl.DataFrame
                     ) -> Mapped:  # fmt: skip
    """Leave out what intake asked, knew to be missing or to be planned, of cells mended now."""
    cells = pl.DataFrame(list(mended), schema=dict.fromkeys(CELL, pl.String), orient="row")
    planned = cells.with_columns(mark=pl.lit("nominal"))  # a corrected day is the day itself
    filled = numbered(cell_names(_filled(cells, mapped)))
    missing = mapped.missing.join(filled, on=MISSING_CELL, how="anti", maintain_order="left")
    return replace(
        mapped, missing=missing,
        findings=pl.concat([
            mapped.findings.join(cells, on=CELL, how="anti", maintain_order="left"), stale,
        ]),
        marks=mapped.marks.join(planned, on=planned.columns, how="anti", maintain_order="left"),
    )  # fmt: skip


def _filled(cells: pl.DataFrame, mapped: Mapped) -> pl.DataFrame:
    """Give the mended cells that have a text: the others were mended by "cannot be found"."""
    parts = [cells.clear()]
    for (variable,), part in cells.group_by("variable", maintain_order=True):
        for frame in mapped.tables.values():
            if f"{RAW}{variable}" in frame.columns:
                told = frame.filter(pl.col(f"{RAW}{variable}").is_not_null()).select("row_id")
                parts.append(part.join(told, on="row_id", how="semi"))
    return pl.concat(parts)
