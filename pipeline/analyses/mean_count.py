"""Mean cumulative count of complications that can come again, over all and arm by arm."""

from dataclasses import replace

import polars as pl

from analysis.mean_count import MeanCount, MeanCountAt, mean_cumulative_count
from pipeline.analyses.arms_test import cluster_test
from pipeline.analyses.curves import count_points, no_curves
from pipeline.analyses.fitted import Fitted, concerned, count_rows, finite, labels_of, numbers_of
from pipeline.analyses.groups import arms, rows_of_arms
from pipeline.analyses.mean_contrasts import mean_contrast_rows
from pipeline.analyses.selection import EVENT, select_rows
from pipeline.analyses.timed import columns_needed
from pipeline.plan import Analysis
from pipeline.plan_check import CENSORED, OF_INTEREST
from shared.estimate import Estimate

RATE = "cumulative_rate"  # the count of those who go on being followed, whatever competes


def fit_mean_count(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Estimate the mean count by the days of the horizon from a table in counting form.

    Competing states end the counting; the cumulated rate of those still followed stands beside.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    selection = select_rows(frame, analysis)
    base, kept, dropped = rows_of_arms(selection, analysis, columns_needed(analysis))
    members = dict(arms(kept, analysis))
    found = {arm: _count(own, analysis) for arm, own in ({None: kept} | members).items()}
    rows: list[Estimate] = []
    points = [no_curves()]
    for arm, count in found.items():
        here = replace(base, group=arm, n=len(members.get(arm, kept)), clusters=count.clusters)
        rows += _rows(here, "mean_count", count, _method(analysis))
        if analysis.competing:
            rate = _count(members.get(arm, kept), analysis, terminal=False)
            rows += _rows(here, RATE, rate, _method(analysis, terminal=False))
        points.append(count_points(analysis, arm, count))
    for place, day in enumerate(analysis.horizon):
        means = {arm: _known(found[arm].at[place]) for arm in members}
        here = replace(base, measure="mean_count", day=day, method=_method(analysis))
        rows += mean_contrast_rows(here, analysis, members, means)
    if analysis.exposure:
        rows += cluster_test(base, kept, analysis)
    rows += count_rows(base, selection, dropped)
    return Fitted(rows=tuple(rows), curves=pl.concat(points))


def _count(members: pl.DataFrame, analysis: Analysis, *, terminal: bool = True) -> MeanCount:
    state = members[EVENT].to_numpy()
    return mean_cumulative_count(
        numbers_of(members, analysis.time),
        state if terminal else (state == OF_INTEREST) * OF_INTEREST + CENSORED,
        entry=numbers_of(members, analysis.entry),
        cluster=labels_of(members, analysis.cluster),
        days=analysis.horizon,
        confidence=analysis.confidence,
    )


def _rows(base: Estimate, measure: str, count: MeanCount, method: str) -> list[Estimate]:
    return [
        concerned(
            replace(
                base, measure=measure, day=at.day, method=method, estimate=finite(at.estimate),
                std_error=finite(at.std_error), low=finite(at.low), high=finite(at.high),
                events=at.n_events,
            ),
            at.concerns,
        )
        for at in count.at
    ]  # fmt: skip


def _known(at: MeanCountAt) -> MeanCountAt | None:
    """Give a count that is known; none beyond follow-up."""
    return None if "beyond_follow_up" in at.concerns else at


def _method(analysis: Analysis, *, terminal: bool = True) -> str:
    ended = (
        f"; counting ends with {', '.join(analysis.competing)}: events over those at risk, times "
        "the share not ended so before"
    )
    plain = "; events over those at risk" + ("" if terminal else ", whatever ended it for others")
    how = ended if terminal and analysis.competing else plain
    return (
        f"mean cumulative count{how}; standard errors: jackknife by {analysis.cluster}; limits on "
        "the log scale"
    )
