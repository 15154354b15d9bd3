"""Rows that compare the means of arms with that of the reference: difference and ratio."""

from collections.abc import Mapping
from dataclasses import replace

import polars as pl

from analysis.mean_contrast import Mean, difference_of_means, ratio_of_means
from pipeline.analyses.fitted import concerned, finite
from pipeline.analyses.groups import reference_of
from pipeline.plan import Analysis
from shared.estimate import Estimate


def mean_contrast_rows(
    base: Estimate,
    analysis: Analysis,
    members: Mapping[str | None, pl.DataFrame],
    means: Mapping[str | None, Mean | None],
) -> list[Estimate]:
    """Compare each arm with the reference; an arm without a mean (None) gives rows without numbers.

    The measures are that of `base` with "_difference" and "_ratio". Without an exposure, or
    without a named reference, there are no rows.
    """
    if analysis.exposure is None:
        return []
    reference = reference_of(pl.concat(list(members.values())), analysis)
    rows: list[Estimate] = []
    for arm, mean in means.items():
        if reference is None or arm in (None, reference):
            continue
        pair = members[arm], members[reference]
        clusters = None
        if analysis.cluster:
            clusters = pl.concat([own[analysis.cluster] for own in pair]).n_unique()
        here = replace(
            base, term=analysis.exposure, level=arm, reference=reference,
            n=sum(len(own) for own in pair), clusters=clusters,
        )  # fmt: skip
        rows += _rows(here, mean, means[reference])
    return rows


def _rows(base: Estimate, mean: Mean | None, against: Mean | None) -> list[Estimate]:
    rows: list[Estimate] = []
    for ending, compare in (("difference", difference_of_means), ("ratio", ratio_of_means)):
        row = replace(base, measure=f"{base.measure}_{ending}")
        if mean is None or against is None:
            rows.append(concerned(row, ("beyond_follow_up",)))
            continue
        found = compare(mean, against, confidence=base.confidence or 0.95)
        row = replace(
            row, estimate=finite(found.estimate), std_error=finite(found.std_error),
            low=finite(found.low), high=finite(found.high), p_value=finite(found.p_value),
            events=mean.n_events + against.n_events,
        )  # fmt: skip
        rows.append(concerned(row, found.concerns))
    return rows
