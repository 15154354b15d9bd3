"""The results table as rows, and the ids under which every printed number can be found."""

from collections.abc import Iterable, Sequence
from typing import Any

import polars as pl
from markupsafe import Markup

from shared.estimate import Estimate


def read_rows(results: pl.DataFrame) -> tuple[Estimate, ...]:
    """Turn the results table into rows, in its own order."""
    return tuple(_row(record) for record in results.iter_rows(named=True))


def _row(record: dict[str, Any]) -> Estimate:
    record["concerns"] = tuple(filter(None, (record["concerns"] or "").split(";")))
    return Estimate(**record)


def of(
    rows: Iterable[Estimate],
    *measures: str,
    analysis: str | None = None,
    adjustment: str | None = None,
) -> list[Estimate]:
    """Pick rows by measure, analysis and adjustment; what is not asked for does not matter."""
    return [
        row
        for row in rows
        if (not measures or row.measure in measures)
        and (analysis is None or row.analysis == analysis)
        and (adjustment is None or row.adjustment == adjustment)
    ]


def first(rows: Iterable[Estimate]) -> Estimate | None:
    """Give the first row, or nothing."""
    return next(iter(rows), None)


def distinct(values: Iterable[str | None]) -> list[str]:
    """Give each value once, in the order of first appearance; nothing is left out but blanks."""
    return list(dict.fromkeys(value for value in values if value))


def days_of(rows: Sequence[Estimate]) -> list[float]:
    """Give the days that rows speak of, in order."""
    return sorted({row.day for row in rows if row.day is not None})


def number(text: str, row_id: str) -> Markup:
    """Mark a printed number with the id of the row it was read from."""
    return Markup('<span data-row="{}">{}</span>').format(row_id, text)


def flow_id(step: int, clinic_id: str, unit: str) -> str:
    """Id of a number of the flow frame: "flow/3/all/stifles"."""
    return f"flow/{step}/{clinic_id}/{unit}"


def curve_id(analysis: str, group: str, state: str, *, day: float, what: str) -> str:
    """Id of a number of the curves frame."""
    return f"curves/{analysis}/{group}/{state}/{day:g}/{what}"
