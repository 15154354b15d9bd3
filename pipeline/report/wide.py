"""Lay rows of the results table out as a table: one line per subject, one column per group."""

from collections.abc import Callable, Sequence

from pipeline.report.rows import distinct
from pipeline.report.sentences import concern_note
from pipeline.report.tables import EMPTY, Cell, Line
from pipeline.report.text import estimate_and_interval, whole
from shared.estimate import Estimate


def cell_of(row: Estimate | None, *, note: bool = True) -> Cell:
    """Print one row in a cell, with its concerns under it."""
    if row is None:
        return EMPTY
    return Cell(estimate_and_interval(row), row.row_id, note=concern_note(row) if note else "")


def count_cell(count: int | None, row_id: str, *, note: str = "") -> Cell:
    """Print a count that belongs to a row; an absent one stays empty."""
    return EMPTY if count is None else Cell(whole(count), row_id, note=note)


def wide_lines(
    rows: Sequence[Estimate], groups: Sequence[str], *,
    line: Callable[[Estimate], str], group: Callable[[Estimate], str | None],
    cell: Callable[[list[Estimate]], Cell], name: Callable[[str], str],
) -> list[Line]:  # fmt: skip
    """Make one line per distinct `line` and one cell per group, made from the rows that meet."""
    met: dict[tuple[str, str | None], list[Estimate]] = {}
    for row in rows:
        met.setdefault((line(row), group(row)), []).append(row)
    return [
        Line(name(key), tuple(cell(met.get((key, item), [])) for item in groups))
        for key in distinct(line(row) for row in rows)
    ]
