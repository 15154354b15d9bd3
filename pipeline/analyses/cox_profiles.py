"""Risks of named stifles by a Cox model, at the days of the horizon."""

from dataclasses import replace

import numpy as np
import polars as pl

from analysis.arrays import FloatArray
from analysis.cox import CoxFit
from analysis.cox_predict import predict_survival
from analysis.design import Design, design_rows, level_text
from pipeline.analyses.fitted import concerned, finite
from pipeline.analyses.interactions import Value, at_values, beyond_seen
from pipeline.analyses.timed import fit_cause
from pipeline.plan import Analysis
from shared.errors import PlanError
from shared.estimate import Estimate


def profile_rows(
    base: Estimate, analysis: Analysis, design: Design, kept: pl.DataFrame
) -> list[Estimate]:
    """Give the risk of each profile by each day, in each arm unless the profile names one.

    Nothing where maximum likelihood holds no number for a term.

    Raises
    ------
    PlanError
        If a profile leaves a term without a value.
    """
    fit = fit_cause(analysis, design, kept)
    if not analysis.profiles or not np.isfinite(fit.coefficients).all():
        return []
    free = analysis.exposure if analysis.exposure in analysis.categorical else None
    base = replace(base, n=fit.n, events=fit.events, clusters=fit.clusters)
    rows: list[Estimate] = []
    for name, profile in analysis.profiles.items():
        _refuse_gaps(analysis, design, name, free=free)
        arms: tuple[str | None, ...] = (None,)
        if free is not None:
            levels = sorted(set(level_text(kept[free]).to_list()))
            arms = (profile[free],) if free in profile else analysis.levels or tuple(levels)
        for arm in arms:
            values: dict[str, Value] = {**profile, **({free: arm} if free and arm else {})}
            here = replace(base, group=name, term=free if arm else None, level=arm,
                           definition=", ".join(f"{key}={value}"
                                                for key, value in profile.items()))  # fmt: skip
            terms = design_rows(design, at_values(kept.head(1), values))[0]
            rows += _risks(concerned(here, beyond_seen(design, kept, values)), analysis, fit, terms)
    return rows


def _risks(base: Estimate, analysis: Analysis, fit: CoxFit, terms: FloatArray) -> list[Estimate]:
    """Give one minus the survival at each day; the limits change places."""
    found = predict_survival(fit, terms, analysis.horizon, confidence=analysis.confidence)
    rows: list[Estimate] = []
    for place, day in enumerate(analysis.horizon):
        error = found.std_error[place] * found.survival[place]
        row = replace(
            base, measure="profile_risk", day=day, estimate=finite(1 - found.survival[place]),
            std_error=finite(error), low=finite(1 - found.high[place]),
            high=finite(1 - found.low[place]),
            method=f"Cox regression, {analysis.ties.capitalize()} ties; log-log limits",
        )  # fmt: skip
        gone = ("beyond_follow_up",) if row.estimate is None else ()
        rows.append(concerned(row, gone))
    return rows


def _refuse_gaps(analysis: Analysis, design: Design, name: str, *, free: str | None) -> None:
    for term in design.terms:
        if term.name not in analysis.profiles[name] and term.name != free:
            raise PlanError(
                f'analysis "{analysis.id}"',
                f'the profile "{name}" gives no value for {term.name}',
                do="A profile of a Cox model names a value for every term.",
            )
