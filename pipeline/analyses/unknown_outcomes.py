"""Outcomes that nobody knows: the model behind the weights, and the extremes they could reach."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.chi_square import wald_limits
from analysis.cox_result import CoxFit
from analysis.design import level_text
from analysis.observation_weights import ObservationWeights
from pipeline.analyses.effects import INTERCEPT
from pipeline.analyses.fitted import concerned, finite, number_row
from pipeline.analyses.logistic_data import LogisticData, complete_data
from pipeline.analyses.selection import OUTCOME, Selection
from pipeline.analyses.standardised_risks import standardised_rows
from pipeline.plan import Analysis
from shared.estimate import Estimate

# What the unknown outcomes of the reference arm and of the other arms are counted as.
BOUNDS: Mapping[str, tuple[int, int, str]] = {
    "unknown_all": (1, 1, "every unknown outcome counted as an event"),
    "unknown_none": (0, 0, "every unknown outcome counted as none"),
    "unknown_worst": (0, 1, "unknown counted as events, in the reference arm as none"),
    "unknown_best": (1, 0, "unknown counted as none, in the reference arm as events"),
}


def bound_rows(base: Estimate, selection: Selection, analysis: Analysis) -> list[Estimate]:
    """Give risks and contrasts as the extremes of the unknown outcomes would have them.

    Standardised where the plan asks for it, else crude; each row's state names the extreme.
    Nothing where all outcomes are known or no arms are compared.
    """
    reference = analysis.categorical.get(analysis.exposure or "")
    if reference is None or analysis.exposure is None:
        return []
    arm = level_text(selection.frame[analysis.exposure])
    unknown = selection.frame[OUTCOME].is_null() & arm.is_not_null()
    if not unknown.any():
        return []
    standardised = "standardised" in analysis.adjustments
    columns = analysis.terms if standardised else (analysis.exposure,)
    base = replace(base, adjustment="standardised" if standardised else "crude", role="sensitivity")
    rows: list[Estimate] = []
    for state, (in_reference, elsewhere, words) in BOUNDS.items():
        filled = pl.when(arm == reference).then(in_reference).otherwise(elsewhere)
        frame = selection.frame.with_columns(pl.col(OUTCOME).fill_null(filled))
        data = complete_data(replace(selection, frame=frame), _quick(analysis), columns)
        here = replace(
            base, state=state, definition=words, n=len(data.outcome), n_dropped=len(frame)
            - len(data.outcome), events=int(data.outcome.sum()), concerns=(),
        )  # fmt: skip
        rows += standardised_rows(here, _quick(analysis), data, sparse=_sparse(data), prefix="")
    return rows


def _quick(analysis: Analysis) -> Analysis:
    """Take limits of the extremes by the delta method: no bootstrap, no weights."""
    return replace(analysis, resamples=0, weights=None)


def _sparse(data: LogisticData) -> bool:
    """Firth's fit gives a number also where an extreme leaves an arm without events."""
    rarer = min(data.outcome.sum(), len(data.outcome) - data.outcome.sum())
    return bool(rarer < 10 * data.design.matrix.shape[1])


def weight_model_rows(base: Estimate, analysis: Analysis, data: LogisticData) -> list[Estimate]:
    """Give the model behind the weights, and how likely each arm's outcomes were to be known."""
    found = data.observation
    if found is None:
        return []
    rows = number_row(base, "mean_weight", found.mean_weight)
    rows += list(_overlap(base, analysis, data, found))
    return rows + list(_model(base, analysis, data, found))


def _overlap(
    base: Estimate, analysis: Analysis, data: LogisticData, found: ObservationWeights
) -> Iterator[Estimate]:
    """Give the lowest, median and highest probability of being known, in each arm's known rows."""
    if analysis.exposure is None:
        return
    arms = level_text(data.rows[analysis.exposure]).to_numpy().astype(str)
    for arm in analysis.levels or sorted(set(arms.tolist())):
        members = (arms == arm) & (data.known == 1)
        values: FloatArray = found.probability[members]
        values = values[np.isfinite(values)]
        if not len(values):
            continue
        for level, value in zip(("lowest", "median", "highest"),
                                np.quantile(values, (0, 0.5, 1)), strict=True):  # fmt: skip
            yield replace(
                base, measure="probability_known", group=arm, level=level, n=len(values),
                events=None, estimate=float(value), confidence=None,
            )  # fmt: skip


def _model(
    base: Estimate, analysis: Analysis, data: LogisticData, found: ObservationWeights
) -> Iterator[Estimate]:
    """Give the ratios of the model of loss, or of being known, with their limits."""
    if found.model is None:
        return
    of_loss = isinstance(found.model, CoxFit)
    measure = "hazard_ratio_of_loss" if of_loss else "odds_ratio_of_known"
    robust = f", errors robust by {analysis.cluster}" if data.cluster is not None else ""
    kind = "Cox model of loss" if of_loss else "logistic model of being known"
    method = f"{kind}{robust}; weights stabilised by the share known"
    columns = {column.name: column for column in data.weight_columns}
    low, high = _limits(found, base.confidence or 0.95)
    for place, name in enumerate(found.model.names):
        if name == INTERCEPT:
            continue
        column = columns[name]
        row = replace(
            base, measure=measure, n=found.n, events=None, term=column.term, level=column.level,
            reference=column.reference, unit=column.unit, method=method,
            estimate=finite(float(np.exp(found.model.coefficients[place]))),
            low=finite(float(np.exp(low[place]))), high=finite(float(np.exp(high[place]))),
            std_error=finite(float(found.model.std_errors[place])),
        )  # fmt: skip
        yield concerned(row, () if row.estimate is not None else ("not_identified",))


def _limits(found: ObservationWeights, confidence: float) -> tuple[FloatArray, FloatArray]:
    assert found.model is not None
    return wald_limits(found.model.coefficients, found.model.std_errors, confidence)
