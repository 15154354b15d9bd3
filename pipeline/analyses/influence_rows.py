"""The odds ratio of the exposure without one animal, or one clinic, at a time."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from analysis.left_out import influence_by_cluster
from pipeline.analyses.fitted import TextArray, concerned, finite
from pipeline.analyses.logistic_data import LogisticData
from pipeline.plan import Analysis
from shared.estimate import Estimate

SHOWN = 5  # animals; clinics are all shown


def influence_rows(
    base: Estimate,
    analysis: Analysis,
    data: LogisticData,
    *,
    penalised: bool,
    group: tuple[str, TextArray] | None,
) -> list[Estimate]:
    """Give the ratios without each group, and without the five clusters that move it most.

    The state of a row names the column whose level, its group, is left out; `n` are the rows that
    are left. For a model without exposure the first term is looked at.
    """
    columns = data.design.columns
    places = data.design.places(analysis.exposure or columns[0].term)
    if not places:
        return []
    return [
        row
        for place in places
        for column, labels, most in _left_out(analysis, data, group)
        for row in _rows(base, data, place, left=(column, labels, most), penalised=penalised)
    ]


def _left_out(
    analysis: Analysis, data: LogisticData, group: tuple[str, TextArray] | None
) -> Iterator[tuple[str, TextArray, int]]:
    if group is not None:
        yield (*group, len(set(group[1].tolist())))
    if data.cluster is not None and analysis.cluster and (
        group is None or group[0] != analysis.cluster
    ):  # fmt: skip
        yield analysis.cluster, data.cluster, SHOWN


def _rows(
    base: Estimate,
    data: LogisticData,
    place: int,
    *,
    left: tuple[str, TextArray, int],
    penalised: bool,
) -> list[Estimate]:
    name, labels, most = left
    used = data.used > 0
    found = influence_by_cluster(
        data.design.matrix[used], data.outcome[used], labels[used], column=place + 1,
        weights=data.used[used], penalised=penalised, most=max(most, 25),
    )  # fmt: skip
    column = data.design.columns[place]
    rows: list[Estimate] = []
    for label, beta, members in zip(
        found.labels[:most], found.coefficients, found.rows, strict=False
    ):
        row = replace(
            base, measure="odds_ratio_without", term=column.term, level=column.level,
            reference=column.reference, unit=column.unit, group=label, state=name,
            estimate=finite(float(np.exp(beta[place + 1]))), confidence=None,
            n=int(used.sum() - members), events=None, clusters=None,
            method=f"fitted again without one {name}",
        )  # fmt: skip
        rows.append(concerned(row, () if row.estimate is not None else ("not_identified",)))
    return rows
