"""A small export of operated stifles with one more column, and a mapping of it."""

from collections.abc import Callable, Mapping

from pipeline.intake.mapped import Mapped

TOP = """
[[file]]
path = "cases.csv"
delimiter = ";"
"""
TABLE = """
[[table]]
make = ["animals", "stifles", "procedures"]
from = "cases"
[table.columns]
local_animal = "Case"
side = { column = "Limb", codes = { L = "left", R = "right" } }
surgery_date = "Op"
"""
RECHECKS = """
[[table]]
make = "rechecks"
from = "cases"
[table.columns]
local_animal = "Case"
side = { column = "Limb", codes = { L = "left", R = "right" } }
"""
GAUGE = "[gauge_mm]\n22 = 0.64\n20 = 0.8\n"
Files = Mapping[str, str | bytes]
Read = Callable[[Files, str], Mapped]


def export(header: str, *cells: str) -> Files:
    """Give an export of cases A1, A2, … with one more column each."""
    rows = [
        f"A{place};L;2021-03-04;{cell}" for place, cell in enumerate(cells, start=1)
    ]  # fmt: skip
    return {"cases.csv": "\n".join([f"Case;Limb;Op;{header}", *rows]) + "\n"}


def read_column(
    read: Read, variable: str, settings: str, *cells: str, top: str = ""
) -> tuple[Mapped, list[object]]:
    """Map one variable from a column X and give its values."""
    mapped = read(export("X", *cells), f"{top}{TOP}{TABLE}{variable} = {settings}\n")
    table = "procedures" if variable in mapped.tables["procedures"].columns else "stifles"
    return mapped, mapped.tables[table][variable].to_list()


def reasons(mapped: Mapped, variable: str) -> list[str]:
    return mapped.missing.filter(variable=variable).sort("row_no")["reason"].to_list()
