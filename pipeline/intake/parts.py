"""A mapping's [[table]] parts read from a clinic's sheets: working rows, not yet placed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipeline.intake.above import with_cells_above, with_places_above
from pipeline.intake.blocks import in_block
from pipeline.intake.choose import part_set_aside
from pipeline.intake.headers import (
    check_file_columns,
    check_headers,
    check_pieces,
    columns_left,
    columns_read,
)
from pipeline.intake.mapping import TYPED_FORMATS, ClinicMapping, SourceFile, TableMapping
from pipeline.intake.rows import working_rows
from pipeline.intake.sheet import Sheet
from pipeline.intake.sources import Grammar
from pipeline.intake.undeclared_dates import refuse_undeclared_dates
from schemas.codebook import Variable, by_name
from shared.side_by_side import side_by_side

Codebook = tuple[Variable, ...]
KEYS = ("local_animal", "side", "local_stifle")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """Working rows of one [[table]] and block."""

    table: TableMapping
    rows: pl.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """What one clinic's sheets became, before rows are numbered."""

    parts: Sequence[Part]
    set_aside: Sequence[tuple[str, str, int, str]]
    unmapped_columns: Sequence[tuple[str, str, str]]


def read_rows(sheets: Mapping[str, Sheet], mapping: ClinicMapping, codebook: Codebook) -> Reading:
    """Read every [[table]] of the mapping from its sheet.

    Raises
    ------
    MappingError
        If the mapping reads a column that an export does not have, or dates as numbers of days.
    """
    read = side_by_side(
        lambda placed: _file_rows(*placed, sheets=sheets, mapping=mapping, codebook=codebook),
        enumerate(mapping.files),
    )
    return Reading(
        parts=[part for one in read for part in one.parts],
        set_aside=[row for one in read for row in one.set_aside],
        unmapped_columns=[column for one in read for column in one.unmapped_columns],
    )


def _file_rows(
    place: int, source: SourceFile, *, sheets: Mapping[str, Sheet], mapping: ClinicMapping,
    codebook: Codebook,
) -> Reading:  # fmt: skip
    sheet = sheets[source.name]
    check_file_columns(sheet, source, mapping.path)
    grammar = file_grammar(mapping, source)
    rows, aside = part_set_aside(sheet, source, grammar)
    parts: list[Part] = []
    read: list[str] = []
    tables = [item for item in mapping.tables if item.source == source.name]
    for step, table in enumerate(tables):
        variables = key_variables(codebook) | by_name(
            item for item in codebook if item.table in table.tables
        )
        for number, block in enumerate(table.blocks):
            one = in_block(table, block, sheet.header)
            check_pieces(sheet, one, mapping.path)
            check_headers(sheet, columns_read(one), mapping.path)
            read += columns_read(one)
            filled = with_cells_above(rows, one)
            made = working_rows(filled, one, sheet=sheet, variables=variables, grammar=grammar)
            made = with_places_above(made, filled, one)
            refuse_undeclared_dates(
                made, one, variables=variables, grammar=grammar, where=mapping.path
            )
            order = pl.lit(place * 1_000_000 + step * 1_000 + number).alias("sulca:order")
            parts.append(Part(table=table, rows=made.with_columns(order)))
    return Reading(
        parts=parts,
        set_aside=[(sheet.file, sheet.sheet, row, why) for row, why in aside],
        unmapped_columns=[
            (sheet.file, sheet.sheet, name) for name in columns_left(sheet, source, read)
        ],
    )


def key_variables(codebook: Codebook) -> dict[str, Variable]:
    """Give the declarations of animal, side and stifle, which every row may carry."""
    return by_name(item for item in codebook if item.table == "stifles" and item.name in KEYS)


def file_grammar(mapping: ClinicMapping, source: SourceFile) -> Grammar:
    """Give the clinic's grammar as it holds in this file."""
    return replace(mapping.grammar, workbook=source.format in TYPED_FORMATS)
