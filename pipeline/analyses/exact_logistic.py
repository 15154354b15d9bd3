"""Exact odds ratios of a logistic model for small tables, as rows of the results."""

from dataclasses import replace

import numpy as np
import polars as pl

from analysis.arrays import FloatArray, IntArray
from analysis.design import DesignColumn
from analysis.exact_logistic import ExactRatio, TooManyTotals, exact_logistic
from analysis.rank import find_redundant
from pipeline.analyses.curves import no_curves
from pipeline.analyses.fitted import (
    Fitted,
    base_row,
    concerned,
    count_rows,
    finite,
    ignores_clusters,
)
from pipeline.analyses.logistic_data import LogisticData, complete_data
from pipeline.analyses.outcome_day import day_of_outcome
from pipeline.analyses.selection import OUTCOME, select_rows
from pipeline.plan import Analysis
from shared.errors import PlanError
from shared.estimate import Estimate

SELECTED = ("outcome_selected_by_follow_up",)
METHOD = "exact conditional likelihood, other terms' totals held; limits of two one-sided tests"
AT_THE_END = "; median unbiased, as the likelihood has no finite top"


def fit_exact_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Give the exact odds ratios of the exposure, or of every term where there is none.

    Raises
    ------
    PlanError
        If a term is not in whole numbers, or the table is too large to be counted out.
    """
    _refuse(analysis)
    selection = select_rows(frame, analysis)
    rows: list[Estimate] = []
    for adjustment in analysis.adjustments:
        crude = adjustment == "crude" and analysis.exposure is not None
        data = complete_data(
            selection, analysis, (analysis.exposure or "",) if crude else analysis.terms
        )
        base = replace(
            base_row(analysis, selection, model="exact_logistic"), adjustment=adjustment,
            day=day_of_outcome(analysis), n=len(data.outcome), events=int(data.outcome.sum()),
            n_dropped=len(selection.frame) - len(data.outcome), method=METHOD,
        )  # fmt: skip
        base = concerned(base, ignores_clusters(data.rows, analysis))
        if selection.frame[OUTCOME].null_count():
            base = concerned(base, SELECTED)
        rows += _ratio_rows(base, analysis, data)
        rows += count_rows(base, selection, data.design.dropped)
    return Fitted(rows=tuple(rows), curves=no_curves())


def _ratio_rows(base: Estimate, analysis: Analysis, data: LogisticData) -> list[Estimate]:
    columns = data.design.columns
    asked = [
        place for place, column in enumerate(columns)
        if analysis.exposure in (None, column.term)
    ]  # fmt: skip
    redundant = find_redundant(data.design.matrix, data.design.names)
    because = "collinear" if any(item.because for item in redundant) else None
    rows: list[Estimate] = []
    for place in asked:
        column = columns[place]
        first = place == asked[0] or columns[place - 1].term != column.term
        if column.reference is not None and first:
            rows.append(replace(base, measure="odds_ratio", term=column.term,
                                level=column.reference, reference=column.reference))  # fmt: skip
        here = replace(base, measure="odds_ratio", term=column.term, level=column.level,
                       reference=column.reference, unit=column.unit)  # fmt: skip
        if redundant:
            rows.append(concerned(here, filter(None, (because, "not_identified"))))
        else:
            rows += _told(here, column, _counted(analysis, data, column.name))
    return rows


def _counted(analysis: Analysis, data: LogisticData, name: str) -> ExactRatio:
    x, y = _rows_of(data)
    try:
        return exact_logistic(x, y, name, names=data.design.names, confidence=analysis.confidence)
    except TooManyTotals as error:
        raise PlanError(
            f'analysis "{analysis.id}"', f"{len(y)} rows with {x.shape[1]} terms: {error}",
            do='Use fewer terms, or estimator = "penalised".',
        ) from None  # fmt: skip
    except ValueError as error:
        raise PlanError(
            f'analysis "{analysis.id}"', str(error),
            do='Make levels of it (categorical), or use estimator = "penalised".',
        ) from None  # fmt: skip


def _rows_of(data: LogisticData) -> tuple[FloatArray, IntArray]:
    return data.design.matrix, data.outcome.astype(np.int64)


def _told(base: Estimate, column: DesignColumn, found: ExactRatio) -> list[Estimate]:
    """Give the ratio, and the test that sums the totals no likelier than the one seen."""
    if found.totals == 1:
        return [concerned(base, ("not_identified",))]
    at_end = not np.isfinite(found.odds_ratio) or found.odds_ratio == 0
    ratio = replace(
        base, estimate=found.median_unbiased if at_end else found.odds_ratio,
        low=found.low, high=finite(found.high), p_value=found.p_twice,
        method=METHOD + (AT_THE_END if at_end else ""),
    )  # fmt: skip
    test = replace(
        base, measure="test", term="exact", level=column.name, p_value=found.p_no_likelier,
        reference=None, unit=None, confidence=None,
        method="exact conditional test: totals no likelier than the one seen",
    )  # fmt: skip
    return [concerned(ratio, ("separation",) if at_end else ()), test]


def _refuse(analysis: Analysis) -> None:
    """Refuse what exact estimation does not go with.

    Raises
    ------
    ValueError
        Naming the key.
    """
    for key in ("weights", "spline", "interactions", "profiles", "diagnostics", "variance"):
        if getattr(analysis, key):
            raise ValueError(f'estimator = "exact" cannot be used with {key}')
    if analysis.missing_outcome == "observation_weights":
        raise ValueError('estimator = "exact" cannot be used with observation weights')
