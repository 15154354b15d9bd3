"""The step of a mapping that made a cell: which [[table]], which column, and how it was read."""

from dataclasses import dataclass

from pipeline.intake.blocks import in_block
from pipeline.intake.grammar import UNITS_TO
from pipeline.intake.mapping import ClinicMapping, TableMapping
from pipeline.intake.sources import Source, WordList
from schemas.codebook import Variable

# A birth date identifies: of it only the age is shown.
NOT_SHOWN = "birth_date"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Where the mapping says how a cell is read, what it does with it, and whether it shows."""

    place: str
    reads: str
    shown: bool = True


def step_of(mapping: ClinicMapping, variable: Variable, *, block: str, column: str) -> Step:
    """Find the step behind one variable of one block, as the mapping file has it."""
    if variable.table == "clinics" or not mapping.tables:
        return Step(place=f"{mapping.file_name}, [clinic] {variable.name}", reads="as declared")
    every = [
        (f"{mapping.file_name}, [[table]] {number}{_named(one.name)}", table, reader)
        for number, table in enumerate(mapping.tables, start=1)
        if variable.table in table.tables or variable.name in _KEYS
        for one in table.blocks
        for reader in _readers(table, one.name, variable.name)
        if _same_block(one.name, block)
    ]  # fmt: skip
    shown = not any(isinstance(item[2], Source) and item[2].reads == NOT_SHOWN for item in every)
    found = [item for item in every if _header(item[2]) == column] or every
    if not found:
        return _without_column(mapping, variable)
    place, table, reader = next(
        (item for item in found if variable.table in item[1].tables), found[0]
    )
    of = f'from = "{table.source}"'
    if isinstance(reader, WordList):
        return Step(place=f"{place}, [[table.list]]", reads=f"a word of the list in it; {of}")
    return Step(
        place=f"{place}, [table.columns] {variable.name}",
        reads=f"{_reading(reader, variable, mapping)}; {of}", shown=shown,
    )  # fmt: skip


def _without_column(mapping: ClinicMapping, variable: Variable) -> Step:
    """Say where a value comes from that no column of the export gives."""
    if variable.name in mapping.when_blank.get(variable.table, {}):
        return Step(place=f"{mapping.file_name}, [when_blank]", reads="filled in as declared")
    made = {"clinic_id": "the name of the clinic's folder",
            "local_stifle": "made of the animal's code and the side"}  # fmt: skip
    return Step(place=mapping.file_name, reads=made.get(variable.name, "no column gives it"))


_KEYS = ("local_animal", "side", "local_stifle")


def _named(block: str) -> str:
    return f', block "{block}"' if block else ""


def _same_block(declared: str, block: str) -> bool:
    """Compare blocks; a row whose side was "both" was parted once more: "recheck 1 left"."""
    return block == declared or block.removesuffix(" left").removesuffix(" right") == declared or (
        not declared and block in ("left", "right")
    )  # fmt: skip


def _readers(table: TableMapping, block: str, name: str) -> list[Source | WordList]:
    one = next(item for item in table.blocks if item.name == block)
    inside = in_block(table, one, ())
    return [*inside.columns.get(name, ()),
            *(item for item in inside.lists if name in item.variables)]  # fmt: skip


def _header(reader: Source | WordList) -> str:
    return reader.column if isinstance(reader, WordList) else " / ".join(reader.columns)


def _reading(source: Source, variable: Variable, mapping: ClinicMapping) -> str:
    """Say how a text became a value: code list, date, unit."""
    if source.value is not None:
        return f"always {source.value}, declared by the mapping"
    said = [f'part of the text by the pattern "{source.pattern}"'] if source.pattern else []
    said.append(_kind_of_reading(source, variable, mapping))
    if source.reads in ("date", NOT_SHOWN) and variable.kind != "date":
        said.append(f"counted in {variable.unit}s to or from the operation")
    if source.counted_from != "this":
        said.append(f"counted from the {source.counted_from} operation of the animal")
    return ", ".join(said)


def _kind_of_reading(source: Source, variable: Variable, mapping: ClinicMapping) -> str:
    if source.codes:
        return "by its code list"
    if source.reads in ("date", NOT_SHOWN) or variable.kind == "date":
        return "date written " + " or ".join(source.formats or mapping.grammar.date_formats)
    if source.reads == "duration":
        return f"time with its unit, converted to {variable.unit}s"
    if source.unit or source.units:
        return _conversion(source, variable)
    number = variable.kind in ("int", "float")
    return f'number with decimal "{mapping.grammar.decimal}"' if number else "as it stands"


def _conversion(source: Source, variable: Variable) -> str:
    if source.unit == "gauge":
        return "wire gauge to mm by the clinic's own table"
    if source.units:
        return f"unit in the cell, converted to {variable.unit}"
    return f"{source.unit} to {variable.unit}, times {UNITS_TO[variable.unit][source.unit]:.8g}"
