"""Differences of cumulative incidence between arms, allowing for animals with a stifle in each."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.chi_square import normal_quantile
from analysis.incidence import IncidenceAt, incidence_batch
from analysis.two_proportions import Contrast, number_needed
from pipeline.analyses.fitted import (
    TextArray,
    concerned,
    contrast_row,
    labels_of,
    numbers_of,
    optional_numbers,
)
from pipeline.analyses.groups import whole
from pipeline.analyses.selection import EVENT
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.estimate import Estimate

FEW = 5  # events in an arm below which the limits of a difference are likely too narrow
Arms = Mapping[str | None, tuple[pl.DataFrame, tuple[IncidenceAt, ...]]]


def difference_rows(
    base: Estimate,
    analysis: Analysis,
    by_arm: Arms,
    *,
    reference: str | None,
) -> list[Estimate]:
    """Compare the risk of each arm with that of the reference, day by day."""
    if reference is None or reference not in by_arm:
        return []
    rows: list[Estimate] = []
    against, ours = by_arm[reference]
    for arm, (members, theirs) in by_arm.items():
        if arm == reference:
            continue
        shared = _shared_variance(members, against, analysis)
        for place, (one, zero) in enumerate(zip(theirs, ours, strict=True)):
            contrast = _difference(one, zero, shared[place], analysis.confidence)
            here = concerned(
                replace(
                    base, term=analysis.exposure, level=arm, reference=reference, day=one.day,
                    state=analysis.outcome_name, n=len(members) + len(against),
                    events=whole(one.n_events + zero.n_events, weighted=bool(analysis.weights)),
                    clusters=_clusters(members, against, analysis),
                ),
                _difference_concerns(one, zero),
            )  # fmt: skip
            rows += [contrast_row(here, contrast), contrast_row(here, number_needed(contrast))]
    return rows


def _difference(one: IncidenceAt, zero: IncidenceAt, shared: float, confidence: float) -> Contrast:
    """Difference with Wald limits; `shared` is the covariance of the arms through clusters."""
    estimate = one.estimate - zero.estimate
    error = float(np.sqrt(max(one.std_error**2 + zero.std_error**2 - 2 * shared, 0.0)))
    half = normal_quantile(confidence) * error
    return Contrast(
        measure="risk_difference", estimate=estimate, std_error=error, low=estimate - half,
        high=estimate + half, confidence=confidence,
        method="difference of Aalen-Johansen risks, Wald limits",
    )  # fmt: skip


def _difference_concerns(one: IncidenceAt, zero: IncidenceAt) -> tuple[str, ...]:
    beyond = tuple(code for at in (one, zero) for code in at.concerns if code != "no_events")
    few = min(one.n_events, zero.n_events) < FEW
    return (*beyond, *(("interval_too_narrow",) if few and not beyond else ()))


def _shared_variance(one: pl.DataFrame, zero: pl.DataFrame, analysis: Analysis) -> FloatArray:
    """Covariance of two arms' risks through animals with a stifle in each, one value a day.

    Jackknife: the sum, over those animals, of the products of what each does to either risk.
    """
    days = analysis.horizon
    if analysis.cluster is None:
        return np.zeros(len(days))
    labels = [labels_of(frame, analysis.cluster) for frame in (one, zero)]
    both = np.intersect1d(labels[0], labels[1])
    if not len(both):
        return np.zeros(len(days))
    changes = [
        _changes_without(frame, own, both, analysis)
        for frame, own in zip((one, zero), labels, strict=True)
    ]
    return (changes[0] * changes[1]).sum(axis=1)


def _changes_without(
    frame: pl.DataFrame, labels: TextArray, left_out: TextArray, analysis: Analysis
) -> FloatArray:
    """Risk less the risk without each cluster, shape (days, clusters)."""
    start = optional_numbers(frame, analysis.weights)
    weight = np.ones(len(frame)) if start is None else start
    columns = np.column_stack([weight, weight[:, None] * (labels[:, None] != left_out)])
    risks = incidence_batch(
        numbers_of(frame, analysis.time), frame[EVENT].to_numpy(), columns,
        cause=OF_INTEREST, days=analysis.horizon,
    )  # fmt: skip
    return risks[:, :1] - risks[:, 1:]


def _clusters(one: pl.DataFrame, zero: pl.DataFrame, analysis: Analysis) -> int | None:
    if analysis.cluster is None:
        return None
    return pl.concat([one[analysis.cluster], zero[analysis.cluster]]).n_unique()
