"""Rows that a clinic asks to leave out: set aside with what was made of them, and counted."""

from collections.abc import Collection
from dataclasses import replace

import polars as pl

from pipeline.intake.mapped import MISSING_ROW, SET_ASIDE_SCHEMA, Mapped, numbered
from schemas.rules.rule import Frames

RULE, REASON = "K02", "the clinic answered: leave this row out"
PLACE = ["clinic_id", "file", "sheet", "row"]
FILE = ["clinic_id", "file", "sheet"]
STIFLE = ["clinic_id", "local_stifle"]
OF_OPERATION = ("animals", "stifles", "procedures")


def delete_rows(mapped: Mapped, table: str, row_ids: pl.Series) -> Mapped:
    """Leave rows out, and with them what was made of the same part of their source row.

    An operation takes along all that its source row says of the joint; its animal goes when it
    has no other operation.
    """
    named = mapped.tables[table].filter(pl.col("row_id").is_in(row_ids.implode()))
    gone = (_of_operation(mapped.tables, named) if table in OF_OPERATION
            else _of_event(mapped.tables, named))  # fmt: skip
    ids = pl.concat([pl.Series("row_id", [], pl.String), *gone.values()])
    tables = {name: _without(frame, ids) for name, frame in mapped.tables.items()}
    named_ids = pl.col("row_id").is_in(ids.implode())
    places = pl.concat(
        [frame.filter(named_ids).select(PLACE) for frame in mapped.tables.values()]
    ).unique(maintain_order=True)
    for frame in tables.values():
        places = places.join(frame, on=PLACE, how="anti", maintain_order="left")
    return replace(
        _aside(replace(mapped, tables=tables), places, moved_from="mapped"),
        findings=_without(mapped.findings, ids),
        missing=mapped.missing.join(numbered(ids.to_frame()), on=MISSING_ROW, how="anti",
                                    maintain_order="left"),
        dates=_without(mapped.dates, ids), marks=_without(mapped.marks, ids),
    )  # fmt: skip


def set_aside_unread(mapped: Mapped, asked: pl.DataFrame) -> Mapped:
    """Set source rows aside that no part of the mapping took, as the clinic asked."""
    found = mapped.findings.join(asked.select("clinic_id", "rule", "key"),
                                 on=["clinic_id", "rule", "key"], how="anti",
                                 maintain_order="left")  # fmt: skip
    rows = asked.filter(pl.col("row").is_not_null()).select(PLACE)
    return replace(_aside(mapped, rows, moved_from="unreadable"), findings=found)


def _of_operation(tables: Frames, named: pl.DataFrame) -> dict[str, pl.Series]:
    source = tables["stifles"].join(named, on=[*PLACE, "block"], how="semi", maintain_order="left")
    if "local_stifle" in named.columns:
        source = source.join(named, on=STIFLE, how="semi", maintain_order="left")
    gone = {
        name: frame.join(source, on=[*PLACE, "local_stifle"], how="semi")["row_id"]
        for name, frame in tables.items() if "local_stifle" in frame.columns
    }  # fmt: skip
    rest = tables["stifles"].filter(~pl.col("row_id").is_in(gone["stifles"].implode()))
    animal = ["clinic_id", "local_animal"]
    lone = source.join(rest, on=animal, how="anti")
    gone["animals"] = tables["animals"].join(lone, on=animal, how="semi")["row_id"]
    return gone


def _of_event(tables: Frames, named: pl.DataFrame) -> dict[str, pl.Series]:
    return {
        name: frame.join(named, on=[*PLACE, "block"], how="semi")["row_id"]
        for name, frame in tables.items()
        if name not in (*OF_OPERATION, "clinics")
    }


def _without(frame: pl.DataFrame, row_ids: Collection[str]) -> pl.DataFrame:
    return frame.filter(~pl.col("row_id").is_in(pl.Series(row_ids, dtype=pl.String).implode()))


def _aside(mapped: Mapped, places: pl.DataFrame, *, moved_from: str) -> Mapped:
    """Count source rows as set aside, no longer as what they were."""
    rows = places.with_columns(rule=pl.lit(RULE), reason=pl.lit(REASON)).select(*SET_ASIDE_SCHEMA)
    moved = rows.group_by(FILE).agg(moved=pl.len().cast(pl.Int64))
    n = pl.col("moved").fill_null(0)
    ledger = mapped.ledger.join(moved, on=FILE, how="left", maintain_order="left").with_columns(
        (pl.col(moved_from) - n).alias(moved_from), set_aside=pl.col("set_aside") + n
    )
    return replace(mapped, set_aside=pl.concat([mapped.set_aside, rows]),
                   ledger=ledger.select(mapped.ledger.columns))  # fmt: skip
