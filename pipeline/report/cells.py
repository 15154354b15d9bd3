"""Cells of the commonest kinds."""

from pipeline.report.sentences import concern_texts
from pipeline.report.tables import EMPTY, Cell
from pipeline.report.text import estimate_and_interval, whole
from shared.estimate import Estimate


def cell_of(row: Estimate | None) -> Cell:
    """Print one row in a cell, with its concerns."""
    if row is None:
        return EMPTY
    return Cell(estimate_and_interval(row), row.row_id, concerns=concern_texts(row))


def count_cell(count: int | None, row_id: str) -> Cell:
    """Print a count that belongs to a row; an absent one stays empty."""
    return EMPTY if count is None else Cell(whole(count), row_id)
