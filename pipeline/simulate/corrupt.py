"""Random damage to an export, as typing, spreadsheets and other units do it."""

import re
from collections.abc import Callable, Mapping
from datetime import date

import numpy as np

from pipeline.simulate.casebook import Case
from pipeline.simulate.defects.choose import swapped
from pipeline.simulate.grid import Cell, Grid, Record
from pipeline.simulate.planting import Defect

SIDES = {
    "L": "R", "R": "L", "G": "D", "D": "G", "LH": "RH", "RH": "LH", "izq": "dcha", "dcha": "izq",
    "li": "re", "re": "li",
}  # fmt: skip
# Header of a number with a unit, and what another unit makes of it.
UNITS: tuple[tuple[str, float], ...] = (
    (r"\(kg\)$", 2.20462), (r"\(lb\)$", 0.453592), (r"peso_g$", 0.001), (r"\(mm\)$", 1 / 25.4),
    (r"\(in\)$", 25.4), (r"\(Wo\)$", 7.0), (r"Alter .. \(J\)$", 12.0), (r"\(mois\)$", 1 / 12),
)  # fmt: skip
MONTHS = ("ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic")
EMPTY = ("", "ND", "NR", "k.A.", "s/d", "?")
Change = Callable[[np.random.Generator, str, Cell], Cell | None]


def _digits(rng: np.random.Generator, column: str, cell: Cell) -> Cell | None:
    text = _text(cell)
    pairs = [pair.start() for pair in re.finditer(r"(?=\d\d)", text)]
    places = [at for at in pairs if text[at] != text[at + 1]]
    if not places:
        return None
    at = places[int(rng.integers(len(places)))]
    return _like(cell, text[:at] + text[at + 1] + text[at] + text[at + 2 :])


def _day_and_month(rng: np.random.Generator, column: str, cell: Cell) -> Cell | None:
    if isinstance(cell, date):
        return swapped(cell)
    numbers = re.fullmatch(r"(\d\d)([./])(\d\d)([./])(\d{4})", str(cell))
    if numbers:
        first, second = int(numbers[1]), int(numbers[3])
        fits = first <= 12 and second <= 12 and first != second
        return f"{second:02d}{numbers[2]}{first:02d}{numbers[4]}{numbers[5]}" if fits else None
    named = re.fullmatch(r"(\d\d)-([a-z]{3})-(\d{4})", str(cell))
    if named and int(named[1]) <= 12 and MONTHS[int(named[1]) - 1] != named[2]:
        return f"{MONTHS.index(named[2]) + 1:02d}-{MONTHS[int(named[1]) - 1]}-{named[3]}"
    return None


def _unit(rng: np.random.Generator, column: str, cell: Cell) -> Cell | None:
    factor = next((factor for pattern, factor in UNITS if re.search(pattern, column)), None)
    text = _text(cell)
    if factor is None or not re.fullmatch(r"[\d.,]+", text):
        return None
    comma = "," in text
    plain = text.replace(".", "").replace(",", ".") if comma else text
    value = float(plain) * factor
    if isinstance(cell, int | float):
        return round(value, 3)
    said = f"{value:.3f}".rstrip("0").rstrip(".")
    return said.replace(".", ",") if comma else said


def _side(rng: np.random.Generator, column: str, cell: Cell) -> Cell | None:
    is_side = re.search(r"^(Limb|Côté|Leg|lado|Kompl\d Seite|Rev\d Seite)$", column)
    return SIDES.get(str(cell)) if is_side else None


def _zero(rng: np.random.Generator, column: str, cell: Cell) -> Cell | None:
    return "0" if cell in EMPTY else None


def _decimal(rng: np.random.Generator, column: str, cell: Cell) -> Cell | None:
    text = _text(cell)
    if not re.fullmatch(r"[\d.]*\d[.,]\d+", text):
        return None
    lost = re.sub(r"[.,](\d+)$", r"\1", text)
    return _like(cell, lost)


KINDS: Mapping[str, Change] = {
    "digit swapped": _digits, "day and month swapped": _day_and_month, "unit changed": _unit,
    "side flipped": _side, "blank to 0": _zero, "decimal mark lost": _decimal,
}  # fmt: skip
SHIFTED = "row shifted by a column"


def random_defect(kind: str, rng: np.random.Generator, sheets: list[Grid]) -> Defect | None:
    """Choose a row and a cell in it that can be damaged so, as a defect; None if it cannot."""
    number = int(rng.choice(len(sheets), p=_sizes(sheets)))
    grid = sheets[number]
    chosen = grid.rows[int(rng.integers(len(grid.rows)))]
    if kind == SHIFTED:
        start = int(rng.integers(1, len(grid.header) - 1))
        column, wrong = grid.header[start], _shift(grid, chosen, start)
    else:
        able = _able(kind, rng, grid, chosen)
        if not able:
            return None
        column = sorted(able)[int(rng.integers(len(able)))]
        wrong = {column: able[column]}

    def is_chosen(row: Record, case: Case) -> bool:
        return row is chosen

    def give(row: Record, case: Case) -> Record:
        return wrong

    return Defect(
        kind=kind, rule="", sheet=number, column=column, where=is_chosen, change=give
    )  # fmt: skip


def _able(kind: str, rng: np.random.Generator, grid: Grid, row: Record) -> Record:
    """Give the cells of a row that can be damaged so, and what they become."""
    found: Record = {}
    for name in grid.header:
        cell = row.get(name, "")
        wrong = KINDS[kind](rng, name, cell)
        if wrong is not None and wrong != cell:
            found[name] = wrong
    return found


def _shift(grid: Grid, row: Record, start: int) -> Record:
    names = grid.header[start:]
    cells = [row.get(name, "") for name in names]
    return dict(zip(names, ["", *cells[:-1]], strict=True))


def _sizes(sheets: list[Grid]) -> list[float]:
    total = sum(len(grid.rows) for grid in sheets)
    return [len(grid.rows) / total for grid in sheets]


def _text(cell: Cell) -> str:
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def _like(cell: Cell, text: str) -> Cell:
    """Keep a number cell a number, and a date cell a date where the text still is one."""
    if isinstance(cell, date):
        try:
            return date.fromisoformat(text)
        except ValueError:
            return text
    if isinstance(cell, int | float):
        return float(text)
    return text
