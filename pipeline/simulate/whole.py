"""Damage to whole files, for rules that ask once of a file, a clinic or two clinics."""

import re
from collections.abc import Callable, Mapping

from pipeline.simulate.grid import Cell, Grid, Record

Sheets = Mapping[str, list[Grid]]
STABLE = {"north": "stable", "valley": "stabil", "lake": "en place", "harbour": "stable",
          "plateau": "estable"}  # fmt: skip
PATELLA = re.compile(r"^(Patella|Kontr\d Patella ..|Rotule|RC\d exam|rotula)$")
VISIT = {
    "Phone": "Clinic", "Telefon": "Klinik", "téléphone": "consultation", "LLAMADA": "REVISION",
}  # fmt: skip
EVENTS = re.compile(r"^(Kompl|Rev|Comp|Reop)\d")
DIRECTIONS = {
    "medial": "lateral", "lateral": "medial", "médiale": "latérale", "latérale": "médiale",
    "MPL": "LPL", "LPL": "MPL",
}  # fmt: skip
DIRECTION = re.compile(r"^(Direction|Richtung ..|Sens|Luxation|sentido)$")


def orders_mixed(sheets: Sheets) -> list[str]:
    """Let every second date of five files be month first."""
    places = (("north", 0), ("north", 1), ("north", 2), ("harbour", 0), ("valley", 0))
    for clinic, number in places:
        grid = sheets[clinic][number]
        for row in grid.rows[::2]:
            _each(row, lambda name, cell: re.sub(
                r"^(\d\d)([./])(\d\d)([./])(\d{4})$", r"\3\2\1\4\5", str(cell)))  # fmt: skip
    return [clinic for clinic, _ in places]


def never_luxated(sheets: Sheets) -> list[str]:
    """Say of every knee at every contact that it was felt and stable."""
    for clinic, grids in sheets.items():
        stable = STABLE[clinic]
        for grid in grids:
            for row in grid.rows:
                _each(row, lambda name, cell, word=stable: word if PATELLA.match(name) and cell
                      else VISIT.get(str(cell), cell))  # fmt: skip
    return list(sheets)


def no_complications(sheets: Sheets) -> list[str]:
    """Leave out every complication and revision."""
    for grids in sheets.values():
        for grid in grids:
            _keep(grid, lambda row: row.get("evento") not in ("COMPLICACION", "REINTERVENCION"))
            if grid.file == "complications.csv" or grid.sheet == "Complications":
                _keep(grid, lambda row: False)
            for row in grid.rows:
                _each(row, lambda name, cell: "" if EVENTS.match(name) else cell)
    return list(sheets)


def directions_swapped(sheets: Sheets) -> list[str]:
    """Swap medial and lateral in every column of directions before surgery."""
    for grids in sheets.values():
        for row in grids[0].rows:
            _each(row, lambda name, cell: DIRECTIONS.get(str(cell), cell)
                  if DIRECTION.match(name) else cell)  # fmt: skip
    return list(sheets)


def one_animal_at_two_clinics(sheets: Sheets) -> list[str]:
    """Give five animals of north the link key of five of valley (canonical files)."""
    for place in range(5):
        for clinic in ("north", "valley"):
            sheets[clinic][1].rows[place]["link_token"] = f"{place:064x}"
    return ["north"] * 5


def days_in_months(sheets: Sheets) -> list[str]:
    """Give the days of rechecks in whole months of 30 days (canonical files)."""
    for grids in sheets.values():
        for row in _table(grids, "rechecks").rows:
            row["recheck_day"] = str(30 * max(1, round(int(str(row["recheck_day"])) / 30)))
    return [clinic for clinic in sheets if clinic != "valley"]  # asked already: whole weeks


def one_time_for_both_knees(sheets: Sheets) -> list[str]:
    """Give every operation the same minutes (canonical files)."""
    for grids in sheets.values():
        for row in _table(grids, "procedures").rows:
            row["surgery_minutes"] = "140"
    return list(sheets)


def numbers_backwards(sheets: Sheets) -> list[str]:
    """Let the numbers of cases go down while the dates go on (canonical files)."""
    for grids in sheets.values():
        grid = _table(grids, "procedures")
        days = {id(row): case.operated for row, case in zip(grid.rows, grid.cases, strict=True)
                if case is not None}  # fmt: skip
        latest = sorted(grid.rows, key=lambda row: days[id(row)], reverse=True)
        for place, row in enumerate(latest, start=1):
            row["surgeon_case_no"] = str(place)
    return list(sheets)


def _table(grids: list[Grid], name: str) -> Grid:
    return next(grid for grid in grids if grid.file == f"{name}.csv")


def _each(row: Record, change: Callable[[str, Cell], Cell]) -> None:
    for name, cell in row.items():
        row[name] = change(name, cell)


def _keep(grid: Grid, wanted: Callable[[Record], bool]) -> None:
    pairs = [(row, case) for row, case in zip(grid.rows, grid.cases, strict=True) if wanted(row)]
    grid.rows[:] = [row for row, _ in pairs]
    grid.cases[:] = [case for _, case in pairs]


WHOLE: Mapping[str, Callable[[Sheets], list[str]]] = {
    "R05": one_animal_at_two_clinics, "R23": orders_mixed, "R29": never_luxated,
    "R79": no_complications, "R88": directions_swapped, "R22": days_in_months,
    "R65": one_time_for_both_knees, "R66": numbers_backwards,
}  # fmt: skip
