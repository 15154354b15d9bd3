"""Kaplan-Meier curves: survival by day, medians and cumulative hazards, arm by arm."""

from dataclasses import replace
from typing import TYPE_CHECKING, cast

import numpy as np
import polars as pl

from analysis.survival import CumulativeHazard, KaplanMeier, kaplan_meier, nelson_aalen
from pipeline.analyses.curves import no_curves, survival_points
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    count_rows,
    finite,
    happened,
    ignores_clusters,
    numbers_of,
    optional_numbers,
)
from pipeline.analyses.groups import arms, rows_of_arms
from pipeline.analyses.selection import select_rows
from pipeline.analyses.timed import columns_needed
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.estimate import Estimate

if TYPE_CHECKING:
    from analysis.survival import ConfType


def fit_kaplan_meier(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Estimate survival by the days of the horizon; competing states count as censored.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    selection = select_rows(frame, analysis)
    base, kept, dropped = rows_of_arms(selection, analysis, columns_needed(analysis))
    base = concerned(replace(base, method=_method(analysis)), ignores_clusters(kept, analysis))
    rows: list[Estimate] = []
    points = [no_curves()]
    for arm, members in arms(kept, analysis):
        time, event = numbers_of(members, analysis.time), happened(members, OF_INTEREST)
        entry = optional_numbers(members, analysis.entry)
        curve = kaplan_meier(
            time, event, entry=entry, confidence=analysis.confidence,
            conf_type=cast("ConfType", analysis.interval),
        )  # fmt: skip
        here = concerned(
            replace(base, group=arm, n=len(members), events=int(event.sum())),
            () if event.any() else ("no_events",),
        )
        rows += _survival_rows(here, curve, analysis.horizon)
        rows += _hazard_rows(here, nelson_aalen(time, event, entry=entry), curve, analysis.horizon)
        rows.append(_median_row(here, curve))
        points.append(survival_points(analysis, arm, curve))
    rows += count_rows(base, selection, dropped)
    return Fitted(rows=tuple(rows), curves=pl.concat(points))


def _survival_rows(base: Estimate, curve: KaplanMeier, days: tuple[float, ...]) -> list[Estimate]:
    rows: list[Estimate] = []
    for day in days:
        row = replace(base, measure="survival", day=day)
        place = int(np.searchsorted(curve.day, day, side="right")) - 1
        if _beyond(curve, day):
            rows.append(concerned(row, ("beyond_follow_up",)))
        elif place < 0:
            rows.append(replace(row, estimate=1.0, std_error=0.0, events=0))
        else:
            rows.append(
                replace(
                    row, estimate=float(curve.estimate[place]),
                    std_error=finite(curve.std_error[place]), low=finite(curve.low[place]),
                    high=finite(curve.high[place]), events=int(curve.n_events[: place + 1].sum()),
                )
            )  # fmt: skip
    return rows


def _hazard_rows(
    base: Estimate, hazard: CumulativeHazard, curve: KaplanMeier, days: tuple[float, ...]
) -> list[Estimate]:
    rows: list[Estimate] = []
    for day in days:
        place = int(np.searchsorted(hazard.day, day, side="right")) - 1
        if place < 0 or _beyond(curve, day):
            continue
        rows.append(
            replace(
                base, measure="cumulative_hazard", day=day, confidence=None,
                estimate=float(hazard.estimate[place]), std_error=float(hazard.std_error[place]),
                events=int(curve.n_events[: place + 1].sum()),
                method="Nelson-Aalen, variance the sum of d / n squared",
            )
        )  # fmt: skip
    return rows


def _median_row(base: Estimate, curve: KaplanMeier) -> Estimate:
    """Give the median; where half never have the event there is no number."""
    median = curve.quantile(0.5)
    return replace(
        base, measure="median", estimate=finite(median.estimate), low=finite(median.low),
        high=finite(median.high), method=f"{base.method}; limits of Brookmeyer and Crowley",
    )  # fmt: skip


def _beyond(curve: KaplanMeier, day: float) -> bool:
    """Whether nobody was followed to a day although some were still free of the event."""
    return day > curve.day[-1] and curve.estimate[-1] > 0


def _method(analysis: Analysis) -> str:
    return f"Kaplan-Meier, Greenwood errors, limits on the {analysis.interval} scale"
