"""What the data themselves show: one question per clinic and variable, never one a row."""

from collections.abc import Iterable

import polars as pl

from pipeline.checks.patterns_copied import copied_forward
from pipeline.checks.patterns_digits import one_day_of_month, uneven_digits
from pipeline.checks.patterns_shape import far_away, one_value
from schemas.codebook import Variable
from schemas.findings import findings
from schemas.rules.patterns import (
    COPIED_FORWARD,
    FAR_AWAY,
    LAST_DIGITS,
    ONE_DAY_OF_MONTH,
    ONE_VALUE,
    Pattern,
)
from schemas.rules.rule import Frames

# A pattern of a clinic shows in its first rows too; more rows only cost time.
MOST_ROWS = 5_000
ADDRESS = ["clinic_id", "table", "variable"]


def what_data_show(tables: Frames, codebook: tuple[Variable, ...], *, columns: pl.DataFrame
                   ) -> pl.DataFrame:  # fmt: skip
    """Ask about patterns that no single row shows.

    Parameters
    ----------
    tables
        Accepted rows with their raw texts; values that are held are empty.
    columns
        ``Mapped.columns``, for the clinic's own header.
    """
    some = {name: _first_rows(frame) for name, frame in tables.items()}
    constant = one_value(some, codebook)
    shape = far_away(some, codebook).join(constant, on=ADDRESS, how="anti", maintain_order="left")
    seen = (
        (LAST_DIGITS, uneven_digits(some, codebook)), (ONE_VALUE, constant), (FAR_AWAY, shape),
        (COPIED_FORWARD, copied_forward(some)), (ONE_DAY_OF_MONTH, one_day_of_month(some)),
    )  # fmt: skip
    labels = {(item.table, item.name): item.label for item in codebook}
    headers = columns.unique(ADDRESS, keep="first", maintain_order=True)
    return findings(
        row
        for pattern, rows in seen
        for row in _in_words(pattern, rows.join(headers, on=ADDRESS, how="left"), labels)
    )


def _first_rows(frame: pl.DataFrame) -> pl.DataFrame:
    if frame.height <= MOST_ROWS:
        return frame
    return frame.filter(pl.int_range(pl.len()).over("clinic_id") < MOST_ROWS)


def _in_words(pattern: Pattern, rows: pl.DataFrame, labels: dict[tuple[str, str], str]
              ) -> Iterable[dict[str, object]]:  # fmt: skip
    for row in rows.sort(ADDRESS).iter_rows(named=True):
        label = labels.get((row["table"], row["variable"]), row["variable"])
        yield {
            "rule": pattern.id, "action": "ask", "clinic_id": row["clinic_id"],
            "table": row["table"], "variable": row["variable"], "key": "whole export",
            "column": row["column"] or "", "says": f"{label}: {pattern.says} {row['detail']}",
            "fix": pattern.fix,
        }  # fmt: skip
