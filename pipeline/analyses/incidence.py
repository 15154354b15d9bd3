"""Cumulative incidence: risks by day and arm, their differences, curves, standardised risks."""

from dataclasses import replace

import polars as pl

from analysis.incidence import Incidence, IncidenceAt, aalen_johansen, incidence_at
from pipeline.analyses.arms_test import arms_test
from pipeline.analyses.curves import incidence_points, no_curves
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    count_rows,
    finite,
    ignores_clusters,
    numbers_of,
    optional_labels,
    optional_numbers,
)
from pipeline.analyses.groups import arms, reference_of, rows_of_arms, whole
from pipeline.analyses.incidence_contrasts import difference_rows
from pipeline.analyses.selection import EVENT, Selection, select_rows
from pipeline.analyses.standardised_incidence import standardised_rows
from pipeline.analyses.timed import columns_needed
from pipeline.plan import Analysis
from pipeline.plan_check import CENSORED, OF_INTEREST
from shared.estimate import Estimate


def fit_cumulative_incidence(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Estimate the risk of each state by each day of the horizon, arm by arm.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    selection = _followed_to_horizon(select_rows(frame, analysis), analysis)
    rows: list[Estimate] = []
    curves = no_curves()
    if "crude" in analysis.adjustments or not analysis.adjust_for:
        rows, curves = _crude(selection, analysis)
    if "standardised" in analysis.adjustments and analysis.exposure:
        rows += standardised_rows(selection, analysis)
    return Fitted(rows=tuple(rows), curves=curves)


def _followed_to_horizon(selection: Selection, analysis: Analysis) -> Selection:
    """Count rows seen free shortly before the horizon as followed to it.

    Who is seen free for the last time in the round of visits at the horizon leaves on that day,
    while others still wait for their visit: risks by the day of finding then come out too high.
    """
    if not analysis.seen_within_days:
        return selection
    day, time = analysis.horizon[0], pl.col(analysis.time or "")
    near = (pl.col(EVENT) == CENSORED) & (time >= day - analysis.seen_within_days) & (time < day)
    carried = pl.when(near).then(pl.lit(day)).otherwise(time.cast(pl.Float64))
    return replace(
        selection, frame=selection.frame.with_columns(carried.alias(analysis.time or ""))
    )


def _crude(selection: Selection, analysis: Analysis) -> tuple[list[Estimate], pl.DataFrame]:
    base, kept, dropped = rows_of_arms(selection, analysis, columns_needed(analysis))
    if analysis.cluster is None:
        base = concerned(base, ignores_clusters(kept, analysis))
    rows: list[Estimate] = []
    points: list[pl.DataFrame] = []
    by_arm: dict[str | None, tuple[pl.DataFrame, tuple[IncidenceAt, ...]]] = {}
    for arm, members in arms(kept, analysis):
        for code, state in enumerate(_states(analysis), start=OF_INTEREST):
            curve = _incidence(members, analysis, code)
            read = incidence_at(curve, analysis.horizon)
            here = replace(base, group=arm, state=state, method=_method(analysis))
            rows += [_risk_row(here, curve, at, weighted=bool(analysis.weights)) for at in read]
            points.append(incidence_points(analysis, arm, state, curve))
            if code == OF_INTEREST:
                by_arm[arm] = (members, read)
    rows += difference_rows(base, analysis, by_arm, reference=_reference(kept, analysis))
    if analysis.exposure:
        rows += arms_test(replace(base, method=None), kept, analysis)
    rows += count_rows(base, selection, dropped)
    return rows, pl.concat(points)


def _states(analysis: Analysis) -> tuple[str, ...]:
    return (analysis.outcome_name, *analysis.competing)


def _reference(kept: pl.DataFrame, analysis: Analysis) -> str | None:
    return reference_of(kept, analysis) if analysis.exposure else None


def _incidence(members: pl.DataFrame, analysis: Analysis, code: int) -> Incidence:
    return aalen_johansen(
        numbers_of(members, analysis.time),
        members[EVENT].to_numpy(),
        cause=code,
        cluster=optional_labels(members, analysis.cluster),
        weights=optional_numbers(members, analysis.weights),
        entry=optional_numbers(members, analysis.entry),
        confidence=analysis.confidence,
    )


def _risk_row(base: Estimate, curve: Incidence, at: IncidenceAt, *, weighted: bool) -> Estimate:
    row = replace(
        base,
        measure="risk", day=at.day, estimate=finite(at.estimate), std_error=finite(at.std_error),
        low=finite(at.low), high=finite(at.high), n=curve.n, clusters=curve.clusters,
        events=whole(at.n_events, weighted=weighted),
    )  # fmt: skip
    return concerned(row, at.concerns)


def _method(analysis: Analysis) -> str:
    errors = f"jackknife by {analysis.cluster}" if analysis.cluster else "independent rows"
    near = analysis.seen_within_days
    ended = f"; seen free within {near} days before: followed to the day" if near else ""
    return (
        f"Aalen-Johansen; standard errors: {errors}; limits on the scale log(-log(1 - risk)){ended}"
    )
