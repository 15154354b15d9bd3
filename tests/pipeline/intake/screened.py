"""A mapping that ignores a column of notes, and all that reading with it tells."""

from collections.abc import Callable

from pipeline.intake.mapped import Mapped

MAPPING = """
[[file]]
path = "cases.csv"
ignore = ["Note"]
[[table]]
make = ["animals", "stifles"]
from = "cases"
[table.columns]
local_animal = "Case"
side = { column = "Limb", codes = { L = "left" } }
surgery_date = "Op"
"""
Read = Callable[[dict[str, str], str], Mapped]


def everything(mapped: Mapped) -> str:
    """Put all that leaves the intake into one text."""
    frames = [*mapped.tables.values(), mapped.findings, mapped.set_aside, mapped.columns,
              mapped.missing, mapped.marks]  # fmt: skip
    coded = [str(frame.schema) for frame in frames]  # a type may hold texts that no cell has
    return "".join([*coded, *(str(frame.to_dict(as_series=False)) for frame in frames)])
