"""Restricted mean time free of the event, arm by arm, with differences and ratios."""

from dataclasses import replace

import polars as pl

from analysis.restricted_mean import RestrictedMean, beyond_follow_up, restricted_mean
from analysis.survival import kaplan_meier
from pipeline.analyses.curves import no_curves
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    count_rows,
    finite,
    happened,
    ignores_clusters,
    numbers_of,
    optional_labels,
    optional_numbers,
)
from pipeline.analyses.groups import arms, rows_of_arms
from pipeline.analyses.mean_contrasts import mean_contrast_rows
from pipeline.analyses.outcome_day import left_end
from pipeline.analyses.selection import select_rows
from pipeline.analyses.timed import columns_needed
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.estimate import Estimate


def fit_restricted_mean(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Estimate the mean days free of the event up to each horizon; competing states censor.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    selection = select_rows(frame, analysis)
    base, kept, dropped = rows_of_arms(selection, analysis, columns_needed(analysis))
    base = replace(base, method=_method(analysis))
    if analysis.cluster is None:
        base = concerned(base, ignores_clusters(kept, analysis))
    if left_end(analysis.time) in kept.columns:  # visits find the event, some time after its onset
        base = concerned(base, ("until_found",))
    members = dict(arms(kept, analysis))
    rows: list[Estimate] = []
    for day in analysis.horizon:
        found = {arm: _mean(own, analysis, day) for arm, own in members.items()}
        here = replace(base, day=day)
        rows += [_mean_row(here, arm, mean, members[arm]) for arm, mean in found.items()]
        rows += mean_contrast_rows(
            replace(here, measure="restricted_mean"), analysis, members, found
        )
    rows += count_rows(base, selection, dropped)
    return Fitted(rows=tuple(rows), curves=no_curves())


def _mean(members: pl.DataFrame, analysis: Analysis, day: float) -> RestrictedMean | None:
    """Give the mean up to a day; None where nobody was followed so far."""
    time, event = numbers_of(members, analysis.time), happened(members, OF_INTEREST)
    entry = optional_numbers(members, analysis.entry)
    if beyond_follow_up(kaplan_meier(time, event, entry=entry), day):
        return None
    return restricted_mean(
        time, event, horizon=day, entry=entry, cluster=optional_labels(members, analysis.cluster)
    )


def _mean_row(
    base: Estimate, arm: str | None, mean: RestrictedMean | None, members: pl.DataFrame
) -> Estimate:
    row = replace(base, measure="restricted_mean", group=arm, n=len(members))
    if mean is None:
        return concerned(row, ("beyond_follow_up",))
    low, high = mean.limits(base.confidence or 0.95)
    row = replace(
        row, estimate=mean.estimate, std_error=mean.std_error, low=finite(low), high=finite(high),
        events=mean.n_events, clusters=mean.clusters,
    )  # fmt: skip
    return concerned(row, () if mean.n_events else ("no_events",))


def _method(analysis: Analysis) -> str:
    errors = f"jackknife by {analysis.cluster}" if analysis.cluster else "independent rows"
    return f"area under Kaplan-Meier up to the day; standard errors: {errors}; Wald limits"
