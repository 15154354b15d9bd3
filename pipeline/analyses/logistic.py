"""Logistic regression: crude, adjusted and standardised; weighted for unknown outcomes; Firth."""

from dataclasses import dataclass, replace

import polars as pl

from analysis.firth import FirthFit, fit_firth
from analysis.fit_concerns import narrow_concerns
from analysis.logistic import LogisticFit, fit_logistic
from analysis.rank import find_redundant
from analysis.separation import find_separation
from pipeline.analyses.diagnostics import diagnose
from pipeline.analyses.effects import FEW_EVENTS_PER_PARAMETER
from pipeline.analyses.exact_logistic import fit_exact_analysis
from pipeline.analyses.few_clusters import refuse_for_few
from pipeline.analyses.fitted import Fitted, base_row, concerned, count_rows, ignores_clusters
from pipeline.analyses.logistic_data import LogisticData, complete_data, weighted_data
from pipeline.analyses.logistic_rows import firth_rows, likelihood_rows, weight_rows
from pipeline.analyses.model_terms import term_rows
from pipeline.analyses.outcome_day import day_of_outcome
from pipeline.analyses.penalised_rows import limits_asked
from pipeline.analyses.primary_fit import takes_larger
from pipeline.analyses.selection import OUTCOME, Selection, select_rows
from pipeline.analyses.standardised_risks import standardised_rows
from pipeline.analyses.unknown_outcomes import bound_rows, weight_model_rows
from pipeline.plan import Analysis
from shared.estimate import Estimate

SELECTED = ("outcome_selected_by_follow_up",)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Version:
    """One way to the answer: which rows, and whether it is the one the plan asks for."""

    weighted: bool
    main: bool


def fit_logistic_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Fit what the plan asks for, and beside it what lets a reader judge it.

    Outcomes that are not known are allowed for by weights, with the complete cases beside. Where
    the data are sparse Firth's fit is the primary one, with maximum likelihood beside it; where
    a term separates the outcomes maximum likelihood gives no number.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    if analysis.estimator == "exact":
        return fit_exact_analysis(frame, analysis)
    refuse_for_few(analysis)
    selection = select_rows(frame, analysis)
    asks_weights = analysis.missing_outcome == "observation_weights"
    unknown = bool(selection.frame[OUTCOME].null_count())
    versions = [_Version(weighted=True, main=True)] if asks_weights else []
    if unknown or not asks_weights:
        versions.append(_Version(weighted=False, main=not asks_weights))
    rows: list[Estimate] = []
    for version in versions:
        for adjustment in ("standardised", "crude", "adjusted"):  # absolute risks come first
            if adjustment in analysis.adjustments:
                rows += _rows(selection, analysis, version, adjustment=adjustment)
    more = _beside(selection, analysis, versions[0])
    rows = [_minding_products(row, analysis) for row in rows]
    return Fitted(rows=(*rows, *more.rows), curves=more.curves)


def _minding_products(row: Estimate, analysis: Analysis) -> Estimate:
    """Say of a term that interacts that its ratio holds at one value of the other only."""
    paired = {term for pair in analysis.interactions for term in pair}
    one_value = row.term in paired and row.adjustment == "adjusted"
    known = row.measure in ("odds_ratio", "coefficient") and row.estimate is not None
    return concerned(row, ("depends_on_other",)) if one_value and known else row


def _beside(selection: Selection, analysis: Analysis, version: _Version) -> Fitted:
    """Say what unknown outcomes could change, and how well the model describes its rows."""
    data = (weighted_data if version.weighted else complete_data)(
        selection, analysis, analysis.terms
    )
    sparse, _ = _is_sparse(analysis, data)
    known = data.known == 1
    base = replace(
        base_row(analysis, selection), adjustment="adjusted" if analysis.adjust_for else "crude",
        model=("weighted_" if version.weighted else "") + ("firth_" if sparse else "") + "logistic",
        day=day_of_outcome(analysis), n=int(known.sum()), events=int(data.outcome[known].sum()),
        n_dropped=len(selection.frame) - int(known.sum()),
    )  # fmt: skip
    rows = weight_model_rows(base, analysis, data) + bound_rows(base, selection, analysis)
    more = [term_rows(base, analysis, data, penalised=sparse)]
    if analysis.diagnostics:
        more.append(diagnose(base, analysis, data, penalised=sparse))
    return Fitted(
        rows=(*rows, *(row for item in more for row in item.rows)),
        curves=pl.concat([item.curves for item in more]),
    )


def _rows(
    selection: Selection, analysis: Analysis, version: _Version, *, adjustment: str
) -> list[Estimate]:
    crude = adjustment == "crude" and analysis.exposure is not None
    columns = (analysis.exposure or "",) if crude else analysis.terms
    data = (weighted_data if version.weighted else complete_data)(selection, analysis, columns)
    known = data.known == 1
    base = replace(
        base_row(analysis, selection),
        adjustment=adjustment, day=day_of_outcome(analysis), n=int(known.sum()),
        n_dropped=len(selection.frame) - int(known.sum()),
        events=int(data.outcome[known].sum()),
        role=analysis.role if version.main else "sensitivity",
    )  # fmt: skip
    if not version.weighted and selection.frame[OUTCOME].null_count():
        base = concerned(base, SELECTED)
    base = concerned(base, data.observation.concerns if data.observation else ())
    sparse, separated = _is_sparse(analysis, data)
    prefix = "weighted_" if version.weighted else ""
    if adjustment == "standardised":
        rows = standardised_rows(base, analysis, data, sparse=sparse, prefix=prefix)
        return _narrow(rows, analysis, data) if sparse else rows
    beside = "sensitivity" if sparse else base.role
    likelihood = _maximum_likelihood(data, separated=bool(separated))
    if data.cluster is None:
        base = concerned(base, ignores_clusters(selection.frame, analysis))
    rows: list[Estimate] = []
    if sparse:
        first = replace(base, model=f"{prefix}firth_logistic")
        penalised = _firth(analysis, data, separated)
        found = firth_rows(first, analysis, data, penalised, separated=separated)
        rows += _narrow(found, analysis, data)
    here = replace(base, model=f"{prefix}logistic", role=beside)
    rows += likelihood_rows(here, analysis, data, likelihood, separated=separated)
    if data.observation is not None:
        rows += weight_rows(here, data.observation)
    return rows + count_rows(here, selection, data.design.dropped)


def _narrow(rows: list[Estimate], analysis: Analysis, data: LogisticData) -> list[Estimate]:
    """Say where the intervals of a penalised fit with clusters rest on too few events."""
    if data.cluster is None:
        return rows
    outcome = data.outcome[data.used > 0]
    rarer = min(outcome.sum(), len(outcome) - outcome.sum())
    per_term = rarer / max(data.design.matrix.shape[1], 1)
    larger = takes_larger(analysis, penalised=True)
    return [
        concerned(row, narrow_concerns(row.measure, per_term, larger_errors=larger))
        if row.low is not None else row
        for row in rows
    ]  # fmt: skip


def _is_sparse(analysis: Analysis, data: LogisticData) -> tuple[bool, tuple[str, ...]]:
    """Decide on Firth's fit, and name the terms that separate; from totals, not arm by arm."""
    chosen = data.used > 0
    outcome = data.outcome[chosen]
    matrix = data.design.matrix[chosen]
    rarer = min(outcome.sum(), len(outcome) - outcome.sum())
    few = rarer < FEW_EVENTS_PER_PARAMETER * matrix.shape[1]
    separated: tuple[str, ...] = ()
    if rarer and not find_redundant(matrix, data.design.names):
        separated = tuple(item.name for item in find_separation(matrix, outcome, data.design.names))
    if analysis.estimator is not None:
        return analysis.estimator == "penalised", separated
    return bool(few or separated), separated


def _maximum_likelihood(data: LogisticData, *, separated: bool) -> LogisticFit | None:
    """Fit by maximum likelihood, unless there is no maximum."""
    if separated:
        return None
    return fit_logistic(
        data.design.matrix, data.outcome, weights=data.used, cluster=data.cluster,
        names=data.design.names,
    )  # fmt: skip


def _firth(analysis: Analysis, data: LogisticData, separated: tuple[str, ...]) -> FirthFit:
    """Fit by penalised likelihood."""
    return fit_firth(
        data.design.matrix, data.outcome, weights=data.used, confidence=analysis.confidence,
        names=data.design.names, limits_for=limits_asked(analysis, data.design.columns, separated),
    )  # fmt: skip
