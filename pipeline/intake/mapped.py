"""What intake hands on: canonical rows with their raw text and address."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from pipeline.intake.mapping import MISSING_REASONS, OPERATIONS
from schemas.codebook import CANONICAL_TABLES

# Columns that stand before the variables in every canonical table.
ADDRESS: Mapping[str, pl.DataType] = {
    "row_id": pl.String(),    # "north/stifles/12", unique in the study
    "file": pl.String(),
    "sheet": pl.String(),     # "" for text files
    "row": pl.Int64(),        # as a spreadsheet shows it
    "block": pl.String(),     # which part of the source row: "", "left", "recheck 2 right"
}  # fmt: skip
RAW = "raw:"  # "raw:weight_kg" keeps the text of the cell behind weight_kg


def raw_text(variable: str) -> pl.Expr:
    """Give the text as received of a variable, whether the column is coded or not."""
    return pl.col(RAW + variable).cast(pl.String)


COLUMN_SCHEMA: Mapping[str, pl.DataType] = {
    name: pl.String()
    for name in ("clinic_id", "file", "sheet", "table", "block", "variable", "column")
}
# What a table holds millions of times is kept as a code: of a few words, or of any names.
CLINIC = pl.Categorical(pl.Categories("clinic", namespace="sulca", physical=pl.UInt16))
VARIABLE = pl.Categorical(pl.Categories("variable", namespace="sulca", physical=pl.UInt16))
TABLE = pl.Enum(CANONICAL_TABLES)
MISSING_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic_id": CLINIC, "table": TABLE,
    "row_no": pl.UInt32(),        # 12 of the row_id "north/stifles/12"
    "variable": VARIABLE, "reason": pl.Enum(MISSING_REASONS),
}  # fmt: skip
MISSING_ROW = ("clinic_id", "table", "row_no")
MISSING_CELL = (*MISSING_ROW, "variable")
MARK_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic_id": pl.String(), "table": pl.String(), "row_id": pl.String(),
    "variable": pl.String(),
    "mark": pl.String(),          # nominal, derived, inherited, or one of ELSEWHERE
    "file": pl.String(), "sheet": pl.String(), "row": pl.Int64(),
    "column": pl.String(),        # where the value came from
    "window_days": pl.Int64(),    # half width of a nominal day
}  # fmt: skip
ELSEWHERE = ("other_row", "other_column")  # from another row; not from the column of `columns`
DATE_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic_id": CLINIC, "table": TABLE, "row_id": pl.String(), "variable": VARIABLE,
    "on": pl.Date(),              # date in the cell, null where days were counted
    "days": pl.Int64(),           # days in the cell, null where a date was given
    "counted_from": pl.Enum(OPERATIONS),  # which operation of the animal
}  # fmt: skip
SET_ASIDE_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic_id": pl.String(), "file": pl.String(), "sheet": pl.String(), "row": pl.Int64(),
    "rule": pl.String(), "reason": pl.String(),
}  # fmt: skip
ALLOWED_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic_id": pl.String(), "column": pl.String(),
    "kinds": pl.String(),         # what the column only looks like: "phone, transponder"
    "because": pl.String(),
}  # fmt: skip
LEDGER_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic_id": pl.String(), "file": pl.String(), "sheet": pl.String(),
    "source_rows": pl.Int64(), "mapped": pl.Int64(), "set_aside": pl.Int64(),
    "unreadable": pl.Int64(),
}  # fmt: skip


def numbered(rows: pl.DataFrame) -> pl.DataFrame:
    """Give rows, named as text by row_id, the names by which `missing` knows them.

    A row that the checks made of another one has no number.
    """
    part = pl.col("row_id").str.splitn("/", 3).struct.field
    return rows.with_columns(
        part("field_0").cast(CLINIC).alias("clinic_id"),
        part("field_1").cast(TABLE, strict=False).alias("table"),
        part("field_2").cast(pl.UInt32, strict=False).alias("row_no"),
    )


def cell_names(cells: pl.DataFrame) -> pl.DataFrame:
    """Give cells, named as text by row_id and variable, as the frames here name them."""
    return cells.with_columns(pl.col("variable").cast(VARIABLE))


def with_names(
    rows: pl.DataFrame, names: Mapping[str, str], schema: Mapping[str, pl.DataType]
) -> pl.DataFrame:
    """Put the names of what the rows are about beside them, and give the columns their types."""
    given = rows.with_columns(pl.lit(name).alias(column) for column, name in names.items())
    return given.select(pl.col(column).cast(dtype) for column, dtype in schema.items())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mapped:
    """Canonical rows of all clinics before any rule, and an account of every source row.

    Attributes
    ----------
    tables
        One frame per canonical table: ADDRESS, then every variable of the codebook (typed,
        null where absent or not understood), then ``raw:<variable>``, the text as received: a
        column of text, or coded as in coded.py. `raw_text` gives it as text.
    columns
        The clinic's own header behind each (clinic, file, sheet, table, block, variable).
    missing
        Why a value is missing: not_recorded, not_applicable, not_examined, not_yet_due. Its names
        are codes, as those of `dates`; `cell_names` makes cells named by text fit for a join, and
        `numbered` rows.
    findings
        Cells that were not understood, and what screening saw.
    set_aside
        Source rows that make no canonical row, each with its reason.
    ledger
        Per file and sheet: source_rows = mapped + set_aside + unreadable.
    dates
        The dates and day counts behind values that depend on a surgery date, so that
        `days.recount_days` can count again once a surgery date is corrected.
    marks
        Values that are not simply what the cell of their row says: a nominal day, a side
        inherited from the only operated stifle, a value from another row, a derived one; or
        where several columns may give a value, from another than `columns` has.
    allowed
        Columns that were read although they look like identifiers, and why.
    """

    tables: Mapping[str, pl.DataFrame]
    columns: pl.DataFrame
    missing: pl.DataFrame
    findings: pl.DataFrame
    set_aside: pl.DataFrame
    ledger: pl.DataFrame
    dates: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=dict(DATE_SCHEMA)))
    marks: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=dict(MARK_SCHEMA)))
    allowed: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=dict(ALLOWED_SCHEMA)))
