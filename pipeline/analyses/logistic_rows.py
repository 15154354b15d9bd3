"""Rows of logistic fits: odds ratios, coefficients, tests, discrimination, weights."""

from dataclasses import replace

import numpy as np

from analysis.arrays import FloatArray
from analysis.design import DesignColumn
from analysis.discrimination import c_statistic
from analysis.firth import FirthFit
from analysis.kernels.logistic import fitted_risks
from analysis.larger_errors import cautious_wald, larger_errors
from analysis.logistic import LogisticFit
from analysis.observation_weights import ObservationWeights
from analysis.penalised_variance import robust_firth
from pipeline.analyses.effects import (
    INTERCEPT,
    Effects,
    coefficient_rows,
    term_tests,
    wald_effects,
)
from pipeline.analyses.few_clusters import FOR_FEW, REDUCED, WILD, reduced_rows, wild_rows
from pipeline.analyses.fitted import (
    concerned,
    finite,
    naming,
    naming_separated,
    number_row,
    row_of_test,
)
from pipeline.analyses.logistic_data import LogisticData
from pipeline.analyses.penalised_rows import Penalised, penalised_rows
from pipeline.analyses.primary_fit import takes_larger
from pipeline.analyses.term_test_rows import dropped_rows, penalised_dropped_rows
from pipeline.plan import Analysis
from shared.estimate import Estimate


def likelihood_rows(
    base: Estimate,
    analysis: Analysis,
    data: LogisticData,
    fit: LogisticFit | None,
    *,
    separated: tuple[str, ...],
) -> list[Estimate]:
    """Give the rows of a maximum-likelihood fit; without a fit, rows that say so."""
    columns = _columns(data)
    base = replace(base, method=_method(analysis, data))
    if fit is None:
        named = naming_separated(base, separated)
        return _empty_rows(concerned(named, ("separation", "not_identified")), columns)
    base = concerned(replace(base, clusters=fit.clusters), fit.concerns)
    if not fit.converged:
        return _empty_rows(naming(base, fit.redundant), columns)
    larger = takes_larger(analysis, penalised=False)
    covariances = (fit.covariance, *((fit.covariance_model,) if larger else ()))
    if analysis.variance == REDUCED:
        rows = reduced_rows(base, columns, data, fit)
    elif analysis.variance in WILD:
        rows = wild_rows(base, columns, data, fit, analysis=analysis)
    else:
        effects = wald_effects(
            columns, fit.coefficients, np.diag(larger_errors(covariances) ** 2),
            confidence=analysis.confidence,
        )  # fmt: skip
        rows = coefficient_rows(base, effects, "odds_ratio")
        rows += term_tests(base, columns, fit.coefficients, *covariances, single=True)
        rows += dropped_rows(base, analysis, data)
    if data.observation is None:  # no likelihood with estimated weights
        rows += row_of_test(base, "likelihood_ratio", fit.likelihood_ratio)
        rows += row_of_test(base, "score", fit.score)
    if analysis.variance not in FOR_FEW:
        tested = range(1, len(columns))
        cautious = cautious_wald(fit.coefficients, covariances, tested) if larger else fit.wald
        rows += row_of_test(base, "wald", cautious)
    if data.observation is not None:
        return rows
    rows += number_row(base, "log_likelihood", fit.log_likelihood)
    rows += number_row(base, "log_likelihood_null", fit.log_likelihood_null)
    return rows + _fit_quality(base, data, fit.coefficients)


def firth_rows(
    base: Estimate,
    analysis: Analysis,
    data: LogisticData,
    fit: FirthFit,
    *,
    separated: tuple[str, ...],
) -> list[Estimate]:
    """Give the rows of Firth's fit: robust limits by cluster, or profile limits without."""
    columns = _columns(data)
    likelihood = "Firth's penalised likelihood" + _weighting(analysis, data)
    if separated:
        likelihood += f", since {', '.join(separated)} tells outcomes apart"
    if not fit.converged:
        empty = naming(replace(base, method=likelihood), fit.redundant)
        return _empty_rows(concerned(empty, fit.concerns), columns)
    robust = None
    if data.cluster is not None:
        robust = robust_firth(
            fit, data.design.matrix, data.outcome, cluster=data.cluster, weights=data.used
        )
    found = Penalised(
        columns=columns, fit=fit, robust=robust, separated=separated,
        errors=_errors(analysis, penalised=True), larger=takes_larger(analysis, penalised=True),
        single=True,
        ignored=("clusters_ignored",) if _has_clusters(data) else (),
    )  # fmt: skip
    rows = penalised_rows(base, analysis, found, ratio="odds_ratio", likelihood=likelihood)
    tests = replace(base, method=f"{likelihood}; coefficients of the term held at nil")
    tests = concerned(tests, fit.concerns)
    return rows + penalised_dropped_rows(tests, analysis, data, separated=separated)


def weight_rows(base: Estimate, found: ObservationWeights) -> list[Estimate]:
    """Say how uneven the weights are that let known outcomes stand for unknown ones."""
    summary = (
        ("share_known", found.n_known / found.n),
        ("effective_n", found.effective_n),
        ("largest_weight", found.largest_weight),
        ("share_rarely_known", found.share_rarely_known),
    )
    rows = [row for measure, value in summary for row in number_row(base, measure, value)]
    return rows + [
        replace(base, measure="count", term="left_out_of_weights", level=name, confidence=None)
        for name in found.left_out
    ]


def _columns(data: LogisticData) -> tuple[DesignColumn, ...]:
    return (DesignColumn(name=INTERCEPT, term=INTERCEPT), *data.design.columns)


def _empty_rows(base: Estimate, columns: tuple[DesignColumn, ...]) -> list[Estimate]:
    """Name every ratio that has no number."""
    nothing = np.full(len(columns), np.nan)
    effects = Effects(
        columns=columns, estimate=nothing, std_error=nothing, low=nothing, high=nothing,
        statistic=nothing, df=None, p_value=nothing,
    )  # fmt: skip
    return coefficient_rows(base, effects, "odds_ratio")


def _fit_quality(base: Estimate, data: LogisticData, beta: FloatArray) -> list[Estimate]:
    """Give discrimination in the rows the model was made from."""
    if data.weights is not None:
        return []
    risk = fitted_risks(beta[0] + data.design.matrix @ beta[1:])
    found = c_statistic(
        risk, data.outcome, cluster=data.cluster, confidence=base.confidence or 0.95
    )
    return [
        replace(
            base, measure="concordance", estimate=finite(found.estimate),
            std_error=finite(found.std_error), low=finite(found.low), high=finite(found.high),
        )
    ]  # fmt: skip


def _has_clusters(data: LogisticData) -> bool:
    return data.cluster is not None and len(np.unique(data.cluster)) < len(data.cluster)


def _method(analysis: Analysis, data: LogisticData) -> str:
    errors = (
        _errors(analysis, penalised=False) if data.cluster is not None else "model-based errors"
    )
    return f"maximum likelihood, {errors}{_weighting(analysis, data)}"


def _errors(analysis: Analysis, *, penalised: bool) -> str:
    if analysis.variance in WILD:
        return f"limits and p of a wild bootstrap of scores by {analysis.cluster}"
    kind = "CR2, t with Satterthwaite's df" if analysis.variance == REDUCED else "CR1"
    robust = f"robust errors by {analysis.cluster} ({kind})"
    larger = takes_larger(analysis, penalised=penalised)
    return f"the larger of model-based and {robust}" if larger else robust


def _weighting(analysis: Analysis, data: LogisticData) -> str:
    if data.observation is not None:
        return "; weighted by the inverse probability of a known outcome, weights taken as known"
    return f"; weighted by {analysis.weights}" if analysis.weights else ""
