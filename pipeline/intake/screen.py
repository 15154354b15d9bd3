"""Refuse direct identifiers: such cells and columns are emptied before anything reads them.

Their text never reaches a finding, a log, a table or an error.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import polars as pl

from pipeline.intake.coded import coded_again, is_coded, own_texts
from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.screen_allowed import permitted
from pipeline.intake.screen_cells import TEXT, kinds_in, of_names
from pipeline.intake.screen_findings import cells_refused, column_refused, mostly_refused
from pipeline.intake.screen_headers import header_kind, says_only_whose
from pipeline.intake.screen_patterns import KINDS
from pipeline.intake.sheet import ROW, Sheet
from schemas.findings import findings

FEWEST = 5  # cells with an identifier that make a column one of identifiers, if most have one


def screen(sheet: Sheet, mapping: ClinicMapping, source: str) -> tuple[Sheet, pl.DataFrame]:
    """Empty every cell and column that looks like a direct identifier, and say where.

    Parameters
    ----------
    sheet
        As read; `source` is the name of its [[file]] in the mapping.

    Returns
    -------
    tuple of Sheet and pl.DataFrame
        The sheet without them; findings S01 (a cell), S02 (a column by its header) and S03 (a
        column by its cells), without their text.
    """
    sheet, named = _without_names_of_columns(sheet)
    may_be = permitted(sheet, mapping, source)
    announced = {
        column: kind for column in sheet.rows.columns if column != ROW
        if (kind := _announced(sheet, column)) and kind not in may_be.get(column, ())
    }  # fmt: skip
    refused = {**named, **{name: (kind,) for name, kind in announced.items()}}
    open_columns = [name for name in sheet.rows.columns if name not in {ROW, *refused}]
    seen = kinds_in(sheet.rows, open_columns)
    found = [findings()]
    found += [column_refused(sheet, mapping.clinic_id, *item) for item in refused.items()]
    rows = _emptied(sheet.rows, list(refused))
    for column in open_columns if seen.height else ():
        places, whole = _places(rows, column, seen, may_be.get(column, frozenset()))
        if whole:
            found.append(mostly_refused(sheet, mapping.clinic_id, column, places))
            rows = _emptied(rows, [column])
        elif places.height:
            found.append(cells_refused(sheet, mapping.clinic_id, column, places))
            hit = pl.col(ROW).is_in(places[ROW].implode())
            left = rows.select(pl.when(~hit).then(column).alias(column)).to_series()
            rows = rows.with_columns(coded_again(left))  # the texts are gone from its codes too
    return replace(sheet, rows=rows), pl.concat(found)


def _without_names_of_columns(sheet: Sheet) -> tuple[Sheet, Mapping[str, Sequence[str]]]:
    """Take a header that is itself an identifier for what it is: a row of data, not a header."""
    names = [name for name in sheet.rows.columns if name != ROW]
    seen = kinds_in(pl.DataFrame({TEXT: names}, schema={TEXT: pl.String}), [TEXT])
    if seen.is_empty():
        return sheet, {}
    held = {row[TEXT]: [kind for kind in KINDS if row[kind]] for row in seen.iter_rows(named=True)}
    place = {name: f"(column {number})" for number, name in enumerate(sheet.header, start=1)}
    other = {name: place.get(name, "(column)") for name in held}
    header = tuple(other.get(name, name) for name in sheet.header)
    renamed = replace(sheet, header=header, rows=sheet.rows.rename(other))
    return renamed, {other[name]: kinds for name, kinds in held.items()}


def _announced(sheet: Sheet, column: str) -> str | None:
    """Name the kind of identifier that a column's header tells, or its header and its cells."""
    kind = header_kind(column)
    if kind is None and says_only_whose(column) and of_names(sheet.rows[column]):
        return "name"
    return kind


def _places(
    rows: pl.DataFrame, column: str, seen: pl.DataFrame, may_be: Collection[str]
) -> tuple[pl.DataFrame, bool]:
    """Give the rows whose cell holds an identifier with its kinds, and whether most cells do."""
    kinds = [kind for kind in KINDS if kind not in may_be]
    held = seen.filter(pl.any_horizontal(pl.lit(value=False), *kinds)).select(TEXT, *kinds)
    if is_coded(rows[column]):
        own = pl.col(TEXT).is_in(own_texts(rows[column]).implode())
        held = held.filter(own).cast({TEXT: rows.schema[column]})
    cells = rows.select(ROW, pl.col(column).alias(TEXT)).drop_nulls(TEXT)
    places = cells.join(held, on=TEXT, how="inner", maintain_order="left").drop(TEXT)
    return places, places.height >= FEWEST and 2 * places.height > cells.height


def _emptied(rows: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    return rows.with_columns(pl.lit(None, pl.String).alias(name) for name in columns)
