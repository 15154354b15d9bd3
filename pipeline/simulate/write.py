"""Simulated tables -> the raw export files of the five clinics."""

from collections.abc import Mapping
from pathlib import Path
from types import ModuleType

import polars as pl

from pipeline.simulate.casebook import cases_of
from pipeline.simulate.dialects import harbour, lake, north, plateau, valley
from pipeline.simulate.grid import Grid

DIALECTS: Mapping[str, ModuleType] = {
    "north": north, "valley": valley, "lake": lake, "harbour": harbour, "plateau": plateau,
}  # fmt: skip


def fill_sheets(tables: Mapping[str, pl.DataFrame]) -> dict[str, list[Grid]]:
    """Fill every clinic's sheets from canonical tables."""
    return {name: dialect.sheets(cases_of(tables, name)) for name, dialect in DIALECTS.items()}


def save_exports(sheets: Mapping[str, list[Grid]], folder: Path) -> None:
    """Write ``folder/<clinic>/…``, each in its own dialect."""
    for name, grids in sheets.items():
        DIALECTS[name].save(grids, folder / name)
