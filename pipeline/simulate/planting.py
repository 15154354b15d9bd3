"""Plant defects in the sheets of an export, each in an animal of its own, and list them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pipeline.simulate.casebook import Case
from pipeline.simulate.grid import Cell, Grid, Record

DEFECT_SCHEMA: Mapping[str, pl.DataType] = {
    "clinic": pl.String(), "file": pl.String(), "sheet": pl.String(), "row": pl.Int64(),
    "column": pl.String(), "kind": pl.String(), "rule": pl.String(), "what_was": pl.String(),
    "what_is": pl.String(),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Defect:
    """One mistake that people make in such files.

    Attributes
    ----------
    kind, rule
        The mistake in words, and the rule meant to find it at its row.
    sheet, column
        Which sheet of the clinic, and the cell that is wrong.
    where
        Tells which rows can bear it, from the row and the case behind it.
    change
        Gives the wrong cells of such a row, `column` among them.
    adds_row
        The wrong cells stand in a copy of the row at the end of the sheet; the row stays.
    """

    kind: str
    rule: str
    sheet: int = 0
    column: str
    where: Callable[[Record, Case], bool]
    change: Callable[[Record, Case], Record]
    adds_row: bool = False


def plant(
    rng: np.random.Generator, sheets: Mapping[str, list[Grid]],
    defects: Mapping[str, Sequence[Defect]], times: int = 1,
) -> pl.DataFrame:  # fmt: skip
    """Damage the sheets in place, each defect `times` times and never twice in one animal.

    A defect that no row can bear is left out, so that small studies can be made too.

    Returns
    -------
    pl.DataFrame
        Where each defect stands, what was there and what is: columns of ``DEFECT_SCHEMA``.
    """
    done: list[dict[str, Cell]] = []
    for clinic, listed in defects.items():
        used: set[str] = set()
        for defect in [item for item in listed for _ in range(times)]:
            grid = sheets[clinic][defect.sheet]
            able = _able(grid, defect, used)
            if able:
                index = able[int(rng.integers(len(able)))]
                used.add(_animal(grid, index))
                done.append({"clinic": clinic} | _damage(grid, index, defect))
    return pl.DataFrame(done, schema=dict(DEFECT_SCHEMA), orient="row")


def _able(grid: Grid, defect: Defect, used: set[str]) -> list[int]:
    return [
        index
        for index, (row, case) in enumerate(zip(grid.rows, grid.cases, strict=True))
        if case is not None and case.animal not in used and defect.where(row, case)
    ]


def _damage(grid: Grid, index: int, defect: Defect) -> dict[str, Cell]:
    row, case = grid.rows[index], grid.cases[index]
    assert case is not None
    wrong = defect.change(row, case)
    was = row.get(defect.column, "")
    if defect.adds_row:
        grid.add(case, dict(row) | wrong)
        was = f"copy of row {grid.number(index)}"
        index = len(grid.rows) - 1
    else:
        row.update(wrong)
    return {
        "file": grid.file, "sheet": grid.sheet, "row": grid.number(index),
        "column": defect.column, "kind": defect.kind, "rule": defect.rule,
        "what_was": _text(was), "what_is": _text(wrong[defect.column]),
    }  # fmt: skip


def _animal(grid: Grid, index: int) -> str:
    case = grid.cases[index]
    return "" if case is None else case.animal


def _text(cell: Cell) -> str:
    return cell.isoformat() if isinstance(cell, date) else str(cell)
