"""What makes the days of a row impossible: a stay before its entry, an interval turned round."""

from collections.abc import Iterator

import polars as pl

from pipeline.plan import Analysis

SUBJECT = "stifle_id"


def time_faults(
    analysis: Analysis, frame: pl.DataFrame, *, happened: pl.Series | None
) -> Iterator[tuple[pl.Series, str]]:
    """Give the rows that break each rule of days, as true or false, with the words for it.

    Parameters
    ----------
    analysis
        Its columns of days hold finite numbers, none below zero.
    frame
        The table.
    happened
        Which rows had an event; None where the analysis has no event column.
    """
    if analysis.entry and analysis.time:
        entry, day = _days(frame, analysis.entry), _days(frame, analysis.time)
        yield entry >= day, f"{analysis.entry} is not before {analysis.time}"
        if SUBJECT in frame.columns:
            yield _overlapping(frame[SUBJECT], entry, day), "a stretch begins before the last ended"
    if analysis.left and analysis.right:
        left, right = _days(frame, analysis.left), _days(frame, analysis.right)
        yield right < left.fill_null(0), f"{analysis.right} is before {analysis.left}"
        yield right <= 0, f"{analysis.right} is not above 0"
    if analysis.model == "parametric_survival" and analysis.time and happened is not None:
        yield (
            happened & (_days(frame, analysis.time) == 0),
            f"{analysis.time} of an event is not above 0",
        )


def _overlapping(subject: pl.Series, entry: pl.Series, day: pl.Series) -> pl.Series:
    """Mark the stretches that begin before an earlier one of the same subject has ended."""
    rows = pl.DataFrame({"subject": subject, "entry": entry, "day": day}).with_row_index("row")
    before = pl.col("day").cum_max().shift().over("subject")
    marked = rows.sort("subject", "entry", "day", "row").with_columns(
        bad=pl.col("subject").is_not_null() & (pl.col("entry") < before)
    )
    return marked.sort("row")["bad"]


def _days(frame: pl.DataFrame, column: str) -> pl.Series:
    return frame[column].cast(pl.Float64)
