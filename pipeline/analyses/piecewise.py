"""Piecewise-exponential models: hazard ratios, rates of the pieces, risks, AIC to compare."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.chi_square import normal_quantile
from analysis.design import Design
from analysis.piecewise import PiecewiseFit, fit_piecewise, piecewise_risks
from pipeline.analyses.curves import no_curves
from pipeline.analyses.effects import coefficient_rows, term_tests, wald_effects
from pipeline.analyses.fitted import (
    concerned,
    finite,
    ignores_clusters,
    naming,
    number_row,
    optional_labels,
    optional_numbers,
    row_of_test,
)
from pipeline.analyses.fitted_curves import last_day, modelled_points
from pipeline.plan import Analysis
from pipeline.plan_pieces import PIECES
from shared.estimate import Estimate

PER_DAYS = 1000.0  # rates are events per so many days, at the mean of each term


def piecewise_rows(
    base: Estimate,
    design: Design,
    kept: pl.DataFrame,
    *,
    analysis: Analysis,
    ends: tuple[FloatArray, FloatArray],
) -> tuple[list[Estimate], pl.DataFrame]:
    """Fit one version; give its rows, those of a group of their own, and its curve."""
    fit = fit_piecewise(
        design.matrix, *ends, cuts=analysis.cut_days,
        entry=optional_numbers(kept, analysis.entry),
        weights=optional_numbers(kept, analysis.weights),
        cluster=optional_labels(kept, analysis.cluster), names=design.names,
    )  # fmt: skip
    errors = "robust errors by cluster" if fit.clusters else "model-based errors"
    here = replace(
        base, group=PIECES, n=fit.n, n_dropped=len(design.kept) - fit.n, events=fit.events,
        clusters=fit.clusters, method=f"piecewise-exponential hazards; {errors}",
    )  # fmt: skip
    here = concerned(
        naming(here, fit.redundant),
        (*fit.concerns, *(() if fit.clusters else ignores_clusters(kept, analysis))),
    )  # fmt: skip
    estimate, covariance = fit.coefficients, fit.covariance[fit.terms, fit.terms]
    effects = wald_effects(design.columns, estimate, covariance, confidence=analysis.confidence)
    rows = coefficient_rows(here, effects, "hazard_ratio")
    rows += term_tests(here, design.columns, estimate, covariance)
    rows += row_of_test(here, "likelihood_ratio", fit.likelihood_ratio)
    for measure in ("log_likelihood", "log_likelihood_null", "aic"):
        rows += number_row(here, measure, getattr(fit, measure))
    rows += _rates(here, fit, design.matrix.mean(axis=0), confidence=analysis.confidence)

    def risks(days: Sequence[float]) -> FloatArray:
        return piecewise_risks(fit, design.matrix, days)

    last = last_day(*ends)
    rows += _risks(here, risks, analysis, last=last)
    if not np.isfinite(risks([last])).all():
        return rows, no_curves()
    return rows, modelled_points(analysis, PIECES, risks, last=last)


def _rates(
    base: Estimate, fit: PiecewiseFit, middle: FloatArray, *, confidence: float
) -> list[Estimate]:
    """Give the rate of each piece at the mean of each term; none where it has none."""
    z, rows = normal_quantile(confidence), list[Estimate]()
    for place, start in enumerate(fit.edges[:-1]):
        end = fit.edges[place + 1]
        words = f"from day {start:g}" + (f" to {end:g}" if np.isfinite(end) else "")
        row = replace(base, measure="rate", term="piece", level=words, day=float(start),
                      unit=f"per {PER_DAYS:g} days")  # fmt: skip
        slope = np.zeros(len(fit.covariance))
        slope[place], slope[fit.terms] = 1.0, middle
        height = fit.log_rates[place] + float(middle @ fit.coefficients)
        if np.isneginf(height):
            rows.append(replace(row, estimate=0.0, confidence=None))
            continue
        held = slope != 0
        error = float(np.sqrt(slope[held] @ fit.covariance[np.ix_(held, held)] @ slope[held]))
        middle_rate, half = PER_DAYS * np.exp(height), z * error
        rows.append(
            replace(row, estimate=finite(middle_rate), std_error=finite(middle_rate * error),
                    low=finite(middle_rate * np.exp(-half)),
                    high=finite(middle_rate * np.exp(half)))
        )  # fmt: skip
    return rows


def _risks(
    base: Estimate,
    risks: Callable[[Sequence[float]], FloatArray],
    analysis: Analysis,
    *,
    last: float,
) -> list[Estimate]:
    """Mean risk over the rows, as they are, by each day of the horizon; without limits."""
    rows: list[Estimate] = []
    for day in analysis.horizon:
        row = replace(base, measure="risk", day=float(day), confidence=None,
                      state=analysis.outcome_name)  # fmt: skip
        beyond = ("beyond_follow_up",) if day > last else ()
        value = None if beyond else finite(float(risks([day])[0]))
        rows.append(concerned(replace(row, estimate=value), beyond))
    return rows
