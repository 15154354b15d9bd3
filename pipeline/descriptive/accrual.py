"""How many index operations each clinic brought in each year."""

from collections.abc import Iterator
from dataclasses import replace

import polars as pl

from pipeline.descriptive.arms import by_clinic
from shared.estimate import Estimate


def accrual(cohort: pl.DataFrame) -> Iterator[Estimate]:
    """Count stifles by clinic (`group`, "all" first) and year of the index operation (`level`).

    Every clinic has a row for every year from the study's first to its last, zeros too; `n` is
    the clinic's total, so that a year that is not recorded shows as level "missing".
    """
    known = cohort["surgery_year"].drop_nulls()
    if known.is_empty():
        return
    years = range(int(known.min()), int(known.max()) + 1)  # pyright: ignore[reportArgumentType]
    base = Estimate(analysis="accrual", term="surgery_year", state="stifles", measure="count")
    for clinic, rows in by_clinic(cohort):
        start = replace(base, group=clinic, n=len(rows))
        for year in years:
            count = int((rows["surgery_year"] == year).sum())
            yield replace(start, level=str(year), estimate=float(count))
        missing = rows["surgery_year"].null_count()
        if missing:
            yield replace(start, level="missing", estimate=float(missing))
