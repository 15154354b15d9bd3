"""Hold a mapping against the header of the export."""

import re
from collections.abc import Iterable

from pipeline.intake.mapping import Condition, SourceFile, TableMapping
from pipeline.intake.pieces import group_names
from pipeline.intake.sheet import ROW, Sheet
from shared.errors import MappingError, nearest

# A date, a number, a case number, or what stands for a header that was not shown or is empty.
DATA = re.compile(
    r"^\(column|^[-+]?[0-9]+(?:[.,][0-9]+)?$|[0-9][./-][0-9]+[./-][0-9]|^\D{0,3}[0-9]{3,}$"
)


def columns_read(table: TableMapping) -> tuple[str, ...]:
    """Name every header that one block of a [[table]] reads, in the order of the mapping."""
    named = [
        name for sources in table.columns.values() for item in sources for name in item.columns
    ]
    named += [item.column for item in table.lists]
    named += [item.column for item in table.where]
    named += [name for block in table.blocks for name in block.present]
    if table.pieces:
        made = {"piece", *group_names(table.pieces.pattern)}
        named = [table.pieces.column, *(name for name in named if name not in made)]
    return tuple(dict.fromkeys(named))


def check_headers(sheet: Sheet, named: Iterable[str], mapping_path: str) -> None:
    """Refuse a mapping that reads a column which the export does not have."""
    present = [name for name in sheet.rows.columns if name != ROW]
    for name in named:
        if name not in present:
            raise MappingError(
                sheet.where,
                f'there is no column "{name}", which {mapping_path} reads',
                do="Mend the mapping, or ask the clinic for the column. " + _near(name, present),
            )


def _near(name: str, present: list[str]) -> str:
    """Name the nearest header, unless the header row is a row of data: its cells are not shown."""
    data = [text for text in present if DATA.search(text)]
    if len(data) * 3 >= len(present):
        return "The row taken for the header seems to hold data: see header_row in the mapping."
    return nearest(name, present)


def check_pieces(sheet: Sheet, table: TableMapping, mapping_path: str) -> None:
    """Refuse a name for a part of a cell that is a column of the export already."""
    made = group_names(table.pieces.pattern) if table.pieces else ()
    for name in made:
        if name in sheet.rows.columns:
            raise MappingError(
                f"{mapping_path}, pieces", f'"{name}" is a column of {sheet.file} already',
                do="Give the group of the pattern another name.",
            )  # fmt: skip


def check_file_columns(sheet: Sheet, source: SourceFile, mapping_path: str) -> None:
    """Refuse set-aside rules and ignored columns that the export does not have."""
    rules: list[Condition] = [item for rule in source.set_aside for item in rule.when]
    check_headers(sheet, [*(item.column for item in rules), *source.ignore], mapping_path)


def columns_left(sheet: Sheet, source: SourceFile, read: Iterable[str]) -> tuple[str, ...]:
    """Name the columns that no [[table]] reads and that are not declared as ignored."""
    known = {*read, *source.ignore, *(c.column for rule in source.set_aside for c in rule.when)}
    return tuple(name for name in sheet.rows.columns if name != ROW and name not in known)
