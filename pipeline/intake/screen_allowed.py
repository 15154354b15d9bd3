"""Exceptions to screening: columns that only look like identifiers, as the mapping declares."""

from collections.abc import Iterable, Mapping, Sequence

import polars as pl

from pipeline.intake.blocks import in_block
from pipeline.intake.mapped import ALLOWED_SCHEMA
from pipeline.intake.mapping import AllowedIdentifier, ClinicMapping, TableMapping
from pipeline.intake.sheet import ROW, Sheet
from shared.errors import MappingError, nearest

Kinds = Mapping[str, frozenset[str]]  # by column


def permitted(sheet: Sheet, mapping: ClinicMapping, source: str) -> Kinds:
    """Give the kinds of identifier that a column may look like."""
    return declared(mapping.allowed) | birth_columns(sheet, mapping, source)


def declared(allowed: Sequence[AllowedIdentifier]) -> dict[str, frozenset[str]]:
    """Give what [[not_identifying]] says of each column."""
    found: dict[str, frozenset[str]] = {}
    for item in allowed:
        found[item.column] = found.get(item.column, frozenset()) | frozenset(item.kinds)
    return found


def birth_columns(sheet: Sheet, mapping: ClinicMapping, source: str) -> dict[str, frozenset[str]]:
    """Give the columns that the mapping reads as a date of birth, and in no other way.

    Only these may hold one: it becomes an age, and its text is not kept.
    """
    ages: set[str] = set()
    others: set[str] = set()
    for table in (item for item in mapping.tables if item.source == source):
        for block in table.blocks:
            one = in_block(table, block, sheet.header)
            ages |= _read(one, birth=True)
            others |= _read(one, birth=False)
    return {name: frozenset({"birth_date"}) for name in sorted(ages - others)}


def allowed_columns(mapping: ClinicMapping, sheets: Iterable[Sheet]) -> pl.DataFrame:
    """List the exceptions of a mapping, for the report.

    Raises
    ------
    MappingError
        If an exception names a column that no file has.
    """
    present = {name for sheet in sheets for name in sheet.rows.columns if name != ROW}
    for item in mapping.allowed:
        if item.column not in present:
            raise MappingError(
                f"{mapping.path}, not_identifying", f'there is no column "{item.column}"',
                do="Mend the name, or take the exception out. " + nearest(item.column, present),
            )  # fmt: skip
    rows = [
        {"clinic_id": mapping.clinic_id, "column": item.column, "kinds": ", ".join(item.kinds),
         "because": item.because}
        for item in mapping.allowed
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=dict(ALLOWED_SCHEMA))


def _read(table: TableMapping, *, birth: bool) -> set[str]:
    """Name the columns whose text is read as a date of birth, or as anything else."""
    named = {
        name for sources in table.columns.values() for item in sources
        if (item.reads == "birth_date") == birth for name in item.columns
    }  # fmt: skip
    if birth:
        return named
    pieces = {table.pieces.column} if table.pieces else set[str]()
    return named | pieces | {item.column for item in table.lists}
