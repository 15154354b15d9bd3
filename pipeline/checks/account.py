"""Every row has one fate: the two sums, per file and per table."""

from collections.abc import Mapping

import polars as pl

from pipeline.checks.by_clinic import count_by_clinic
from pipeline.intake.mapped import LEDGER_SCHEMA, SET_ASIDE_SCHEMA
from schemas.rules.rule import Frames

FILE = ["clinic_id", "file", "sheet"]
COUNTS = ("made", "derived", "accepted", "stopped", "merged")
LEDGER_ROWS_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic_id": pl.String(), "table": pl.String(),
    **dict.fromkeys(COUNTS, pl.Int64()),
}  # fmt: skip


def count_files(ledger: pl.DataFrame, tables: Frames, fates: pl.DataFrame
                ) -> tuple[pl.DataFrame, pl.DataFrame]:  # fmt: skip
    """Count source rows that turned out to be test records as set aside, not as mapped.

    Returns
    -------
    tuple
        The ledger, and a row of ``SET_ASIDE_SCHEMA`` for each such source row.

    Raises
    ------
    AssertionError
        Unless source rows read = mapped + set aside + unreadable, for every file.
    """
    aside = fates.filter(pl.col("fate") == "set_aside")["row_id"]
    tests = _tests(tables, aside)
    moved = tests.group_by(FILE).agg(n=pl.len().cast(pl.Int64))
    counted = ledger.join(moved, on=FILE, how="left", maintain_order="left").with_columns(
        mapped=pl.col("mapped") - pl.col("n").fill_null(0),
        set_aside=pl.col("set_aside") + pl.col("n").fill_null(0),
    ).select(*LEDGER_SCHEMA)  # fmt: skip
    wrong = counted.filter(
        pl.col("source_rows") != pl.col("mapped") + pl.col("set_aside") + pl.col("unreadable")
    )
    assert not wrong.height, f"source rows without a fate: {wrong.rows()}"
    return counted, tests.select(*SET_ASIDE_SCHEMA)


def _tests(tables: Frames, aside: pl.Series) -> pl.DataFrame:
    """Give the source rows of which every canonical row was set aside."""
    if aside.is_empty():
        return pl.DataFrame(schema=dict(SET_ASIDE_SCHEMA))
    place = [*FILE, "row"]
    sources = pl.concat([
        frame.select(*place, gone=pl.col("row_id").is_in(aside.implode()))
        for frame in tables.values()
    ])  # fmt: skip
    return (
        sources.group_by(place, maintain_order=True).agg(pl.col("gone").all())
        .filter("gone").sort(place)
        .select(*place, rule=pl.lit("R08"), reason=pl.lit("test record"))
    )  # fmt: skip


def count_rows(made: Frames, accepted: Frames, fates: pl.DataFrame) -> pl.DataFrame:
    """Count what became of the canonical rows of each clinic and table.

    Raises
    ------
    AssertionError
        Unless rows made + derived = accepted + stopped + merged.
    """
    aside = fates.filter(pl.col("fate") == "set_aside")["row_id"]
    parts: list[pl.DataFrame] = []
    for table, frame in made.items():
        made_rows, kept = frame.select("clinic_id", "row_id"), accepted[table]
        if aside.len():
            made_rows = made_rows.filter(~pl.col("row_id").is_in(aside.implode()))
        taken = fates.filter(pl.col("table") == table, pl.col("fate") != "set_aside")
        added = pl.concat([  # an added row may itself be stopped
            kept.filter("derived").select("clinic_id", "row_id"),
            taken.select("clinic_id", "row_id"),
        ])  # fmt: skip
        if added.height:
            added = added.join(frame, on="row_id", how="anti")
        parts += [_counted(made_rows, table, "made"), _counted(added, table, "derived"),
                  _counted(kept, table, "accepted")]  # fmt: skip
    for fate in ("stopped", "merged"):
        rows = fates.filter(pl.col("fate") == fate)
        parts.append(
            rows.group_by("clinic_id", "table").agg(what=pl.lit(fate), n=pl.len().cast(pl.Int64))
        )
    counts = (
        pl.concat(parts)
        .group_by("clinic_id", "table")
        .agg(pl.col("n").filter(pl.col("what") == name).sum().alias(name) for name in COUNTS)
        .sort("clinic_id", "table")
        .select(*LEDGER_ROWS_SCHEMA)
    )
    wrong = counts.filter(
        pl.col("made") + pl.col("derived")
        != pl.col("accepted") + pl.col("stopped") + pl.col("merged")
    )
    assert not wrong.height, f"rows without a fate: {wrong.rows()}"
    return counts


def _counted(rows: pl.DataFrame, table: str, what: str) -> pl.DataFrame:
    clinics = count_by_clinic(rows)
    return clinics.select("clinic_id", table=pl.lit(table), what=pl.lit(what), n="rows")
