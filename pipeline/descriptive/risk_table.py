"""Risks per weight band and grade at one year, for the surgeon's page."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.incidence import aalen_johansen, incidence_at
from pipeline.descriptive.arms import ALL
from pipeline.descriptive.completeness import recheck_share
from shared.estimate import Estimate

DAY = 365
FEWEST = 20  # stifles at risk below which a cell holds no number
BANDS = ("under 5", "5 to 9.9", "10 to 19.9", "20 and over")
EVENTS = (("relux", "reluxation"), ("implant", "implant_complication"))


def risk_table(cohort: pl.DataFrame) -> Iterator[Estimate]:
    """Give the risk by day 365 for each weight band (`group`) and grade (`level`), with margins.

    Aalen-Johansen with the variance clustered by animal. Below 20 stifles at risk: no number,
    and the concern too_few. Beside each risk stands the share rechecked in the frame to day 365.
    """
    grades = [str(grade) for grade in cohort["grade_preop"].drop_nulls().unique().sort()]
    for band in (ALL, *BANDS):
        for grade in (ALL, *grades):
            rows = _cell(cohort, band, grade)
            if rows.is_empty():
                continue
            base = Estimate(
                analysis="per_100", group=band, term="grade_preop", level=grade, measure=""
            )
            for outcome, event in EVENTS:
                yield _risk(replace(base, outcome=event), rows, outcome, event)
            yield recheck_share(base, rows, DAY)


def _cell(cohort: pl.DataFrame, band: str, grade: str) -> pl.DataFrame:
    rows = cohort
    if band != ALL:
        rows = rows.filter(pl.col("weight_band") == band)
    if grade != ALL:
        rows = rows.filter(pl.col("grade_preop").cast(pl.String) == grade)
    return rows


def _risk(base: Estimate, rows: pl.DataFrame, outcome: str, event: str) -> Estimate:
    day, state = f"{outcome}_day", f"{outcome}_state"
    known = rows.filter(pl.col(day).is_not_null() & pl.col(state).is_not_null())
    base = replace(
        base, day=float(DAY), measure="risk", n=len(known), n_dropped=len(rows) - len(known),
        clusters=known["animal_id"].n_unique(), confidence=0.95,
        method="Aalen-Johansen, clustered by animal",
    )  # fmt: skip
    if len(known) < FEWEST:
        return replace(base, concerns=("too_few",))
    codes = (
        pl.when(pl.col(state) == "censored").then(0).when(pl.col(state) == event).then(1)
    ).otherwise(2)
    curve = aalen_johansen(
        known[day].cast(pl.Float64).to_numpy(),
        known.select(codes.alias("code")).to_series().to_numpy(),
        cause=1,
        cluster=known["animal_id"].to_numpy(),
    )
    found = incidence_at(curve, [float(DAY)])[0]
    numbers = (found.estimate, found.std_error, found.low, found.high)
    estimate, error, low, high = (float(x) if np.isfinite(x) else None for x in numbers)
    return replace(
        base, estimate=estimate, std_error=error, low=low, high=high,
        events=int(found.n_events), concerns=found.concerns,
    )  # fmt: skip
