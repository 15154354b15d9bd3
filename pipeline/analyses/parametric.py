"""Models of log time: time ratios, hazard ratios of a Weibull model, risks, and AIC to compare."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.chi_square import normal_quantile
from analysis.design import Design
from analysis.parametric import (
    DISTRIBUTIONS,
    SHAPE,
    ParametricFit,
    fit_parametric,
    parametric_risks,
)
from pipeline.analyses.curves import no_curves
from pipeline.analyses.effects import coefficient_rows, term_tests, wald_effects
from pipeline.analyses.fitted import (
    Fitted,
    concerned,
    count_rows,
    design_version,
    finite,
    happened,
    ignores_clusters,
    naming,
    number_row,
    numbers_of,
    optional_labels,
    optional_numbers,
    row_of_test,
)
from pipeline.analyses.fitted_curves import last_day, modelled_points, seen_points
from pipeline.analyses.piecewise import piecewise_rows
from pipeline.analyses.selection import Selection, select_rows
from pipeline.analyses.timed import columns_needed
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.estimate import Estimate


def fit_parametric_analysis(frame: pl.DataFrame, analysis: Analysis) -> Fitted:
    """Fit right-censored days; without a distribution in the plan, all side by side.

    Raises
    ------
    PlanError, ValueError
        If the plan does not fit the table.
    """
    selection = select_rows(frame, analysis)
    return fit_distributions(selection, analysis, also=columns_needed(analysis))


def fit_distributions(selection: Selection, analysis: Analysis, *, also: tuple[str, ...]) -> Fitted:
    """Fit each version and distribution; the group of a row is its distribution.

    The curves are those of the last version with a fit: each distribution, and the rows alone.
    """
    rows: list[Estimate] = []
    curves = [no_curves()]
    for adjustment in analysis.adjustments:
        base, design, kept = design_version(selection, analysis, adjustment, also=also)
        ends = _ends(kept, analysis)
        drawn: list[pl.DataFrame] = []
        for name in DISTRIBUTIONS:
            if analysis.distribution in (None, name):
                fit = fit_parametric(
                    design.matrix, *ends, distribution=name,
                    cluster=optional_labels(kept, analysis.cluster), names=design.names,
                )  # fmt: skip
                here = _about(base, fit, design, ignores_clusters(kept, analysis))
                rows += _estimates(here, design, fit, confidence=analysis.confidence)
                rows += _risks(here, design, fit, analysis)
                drawn += _points(fit, design, analysis, last=last_day(*ends))
        if analysis.cut_days:
            more, points = piecewise_rows(base, design, kept, analysis=analysis, ends=ends)
            rows, drawn = [*rows, *more], [*drawn, points]
        if any(len(points) for points in drawn):
            entry = optional_numbers(kept, analysis.entry)
            curves = [no_curves(), seen_points(analysis, *ends, entry=entry), *drawn]
        rows += count_rows(base, selection, design.dropped)
    return Fitted(rows=tuple(rows), curves=pl.concat(curves))


def _points(
    fit: ParametricFit, design: Design, analysis: Analysis, *, last: float
) -> list[pl.DataFrame]:
    if not fit.converged:
        return []
    risks = partial(parametric_risks, fit, design.matrix)
    return [modelled_points(analysis, fit.distribution, risks, last=last)]


def _ends(kept: pl.DataFrame, analysis: Analysis) -> tuple[FloatArray, FloatArray]:
    """Give both ends of each interval; equal where the day itself is taken as known."""
    if analysis.left:
        ends = kept.select(left=pl.col(analysis.left).fill_null(0), right=analysis.right or "")
        return numbers_of(ends, "left"), numbers_of(ends.with_columns(
            pl.col("right").cast(pl.Float64).fill_null(float("inf"))), "right")  # fmt: skip
    days = numbers_of(kept, analysis.time)
    return days, np.where(happened(kept, OF_INTEREST) == 1, days, np.inf)


def _about(base: Estimate, fit: ParametricFit, design: Design, ignored: Sequence[str]) -> Estimate:
    errors = "robust errors by cluster" if fit.clusters else "model-based errors"
    row = replace(
        base, group=fit.distribution, n=fit.n, n_dropped=len(design.kept) - fit.n,
        events=fit.events, clusters=fit.clusters,
        method=f"accelerated failure time, {fit.distribution}; {errors}",
    )  # fmt: skip
    return concerned(
        naming(row, fit.redundant), (*fit.concerns, *(() if fit.clusters else ignored))
    )


def _estimates(
    base: Estimate, design: Design, fit: ParametricFit, *, confidence: float
) -> list[Estimate]:
    terms = fit.terms
    estimate, covariance = fit.coefficients[terms], fit.covariance[terms, terms]
    effects = wald_effects(design.columns, estimate, covariance, confidence=confidence)
    away = {column.term: ("separation",) for column in design.columns
            if column.name in fit.separated}  # fmt: skip
    rows = coefficient_rows(base, effects, "time_ratio", concerns=away)
    if fit.distribution == "weibull":
        hazards = wald_effects(
            design.columns, -estimate / fit.scale, _hazard_covariance(fit), confidence=confidence
        )
        ratios = coefficient_rows(base, hazards, "hazard_ratio", concerns=away)
        rows += [row for row in ratios if row.measure == "hazard_ratio"]
    rows += term_tests(base, design.columns, estimate, covariance)
    rows += row_of_test(base, "likelihood_ratio", fit.likelihood_ratio)
    for measure in ("scale", "log_likelihood", "log_likelihood_null", "aic"):
        rows += number_row(base, measure, getattr(fit, measure))
    if SHAPE in fit.names and fit.converged:
        value, error = float(fit.coefficients[-1]), float(fit.std_errors[-1])
        half = normal_quantile(confidence) * error
        rows.append(replace(base, measure=SHAPE, estimate=value, std_error=error, low=value - half,
                            high=value + half))  # fmt: skip
    return rows


def _hazard_covariance(fit: ParametricFit) -> FloatArray:
    """Delta method of -coefficient / scale, the scale being estimated too."""
    slopes = np.zeros((len(fit.coefficients) - 2, len(fit.coefficients)))
    slopes[:, fit.terms] = -np.eye(len(slopes)) / fit.scale
    slopes[:, -1] = fit.coefficients[fit.terms] / fit.scale
    return slopes @ fit.covariance @ slopes.T


def _risks(
    base: Estimate, design: Design, fit: ParametricFit, analysis: Analysis
) -> list[Estimate]:
    """Mean risk over the rows, as they are, by each day of the horizon; without limits."""
    if not fit.converged:
        return []
    found = parametric_risks(fit, design.matrix, analysis.horizon)
    return [
        replace(base, measure="risk", day=float(day), estimate=finite(risk), confidence=None,
                state=analysis.outcome_name)
        for day, risk in zip(analysis.horizon, found, strict=True)
    ]  # fmt: skip
