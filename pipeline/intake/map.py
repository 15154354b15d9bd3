"""A clinic's sheets and its mapping -> canonical rows, each with its text and address."""

from collections.abc import Callable, Mapping
from functools import partial

import polars as pl

from pipeline.intake import account
from pipeline.intake.canonical_rows import (
    ROW_PLACE,
    canonical_rows,
    clinic_row,
    fill_tables,
    finished,
    placed_parts,
    reported,
    working_codebook,
)
from pipeline.intake.days import date_rows
from pipeline.intake.ledger import make_ledger, set_aside_rows, sheet_findings, unused_rows
from pipeline.intake.mapped import Mapped
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.marks import mark_rows
from pipeline.intake.numbers import fill_blanks, number_events
from pipeline.intake.parts import read_rows
from pipeline.intake.sheet import Sheet
from schemas.codebook import CANONICAL_TABLES, Variable, of_table
from shared.side_by_side import side_by_side

Codebook = tuple[Variable, ...]


def map_clinic(sheets: Mapping[str, Sheet], mapping: ClinicMapping, codebook: Codebook) -> Mapped:
    """Map one clinic's screened sheets to canonical rows.

    Parameters
    ----------
    sheets
        By the name of the mapping's [[file]].

    Returns
    -------
    Mapped
        Rows that cannot be placed are in it too, with a finding that stops them.

    Raises
    ------
    MappingError
        If the mapping reads a column that an export does not have.
    """
    working = working_codebook(mapping, codebook)
    reading = read_rows(sheets, mapping, working)
    parts = placed_parts(reading, working)
    making = [part for part in parts if not part.table.fills]
    filling = [part for part in parts if part.table.fills]
    tables, folded = canonical_rows(making, mapping.clinic_id, working)
    used = [part.rows.select(ROW_PLACE) for part in making]
    used += fill_tables(tables, filling, working)
    for table in tables:
        tables[table] = number_events(tables[table], table, of_table(working, table))
    fill_blanks(tables, mapping.when_blank, {(item.table, item.name): item for item in working})
    frames = tables | {"clinics": clinic_row(mapping, codebook)}
    unread = unused_rows(sheets.values(), reading.set_aside, used)
    found = [
        *(account.cell_findings(rows, table, variables=reported(working, table),
                                clinic_id=mapping.clinic_id)
          for table, rows in (*frames.items(), *folded.items())),
        *sheet_findings(sheets.values(), mapping, unread=unread, reading=reading),
    ]  # fmt: skip
    cells = pl.concat(found).unique(maintain_order=True)
    columns, missing, marks, dates = side_by_side(
        lambda make: _each(make, frames, working, mapping.clinic_id),
        (account.header_rows, account.missing_rows,
         partial(mark_rows, several=_of_several(mapping)), date_rows),
    )  # fmt: skip
    return Mapped(
        tables={table: finished(frames[table], of_table(codebook, table))
                for table in CANONICAL_TABLES},
        findings=pl.concat([cells, account.unknown_words(cells)]),
        columns=columns, missing=missing, marks=marks, dates=dates,
        set_aside=set_aside_rows(sheets.values(), reading.set_aside, mapping.clinic_id),
        ledger=make_ledger(sheets.values(), reading.set_aside, used=used, unread=unread,
                           clinic_id=mapping.clinic_id),
    )  # fmt: skip


def _of_several(mapping: ClinicMapping) -> set[tuple[str, str]]:
    """Name the variables, with their tables, that several columns may give."""
    return {
        (name, variable) for table in mapping.tables for name in table.tables
        for variable, sources in table.columns.items() if len(sources) > 1
    }  # fmt: skip


def _each(
    make: Callable[[pl.DataFrame, str, tuple[Variable, ...], str], pl.DataFrame],
    frames: Mapping[str, pl.DataFrame], codebook: Codebook, clinic_id: str,
) -> pl.DataFrame:  # fmt: skip
    made = [
        make(rows, table, account.in_export(rows, of_table(codebook, table)), clinic_id)
        for table, rows in frames.items()
    ]
    return pl.concat(made)
