"""What precision to expect of each analysis, before any outcome is tabled by exposure."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.precision import (
    ExpectedInterval,
    events_per_parameter,
    expected_log_hazard_ratio,
    expected_log_odds_ratio,
    expected_risk_difference,
)
from analysis.proportions import design_effect
from pipeline.analyses.fitted import base_row, concerned, make_design
from pipeline.analyses.selection import EVENT, OUTCOME, Selection, select_rows
from pipeline.descriptive.arms import included
from pipeline.plan import Analysis
from pipeline.plan_check import OF_INTEREST
from shared.errors import PlanError
from shared.estimate import Estimate

ENOUGH = 10  # of the rarer outcome per parameter, rule of thumb
RATIOS = {"cox": "hazard_ratio", "logistic": "odds_ratio"}


def precision_of(cohort: pl.DataFrame, analysis: Analysis) -> Iterator[Estimate]:
    """Give n, events, events per parameter and expected interval widths of one analysis.

    All come from totals: stifles, events whichever arm they fell in, share exposed, and how much
    outcomes of one animal agree. The rows carry the model "precision".
    """
    try:
        selection = select_rows(cohort, analysis)
    except PlanError:
        yield Estimate(
            analysis=analysis.id, role=analysis.role, model="precision", measure="count",
            outcome=analysis.outcome_name, term="stifles", estimate=0.0, n=0,
            concerns=("too_few",),
        )  # fmt: skip
        return
    base = base_row(analysis, selection, model="precision")
    rows = _with_outcome(selection.frame, analysis)
    happened = _happened(rows, analysis)
    events, n = int(happened.sum()), len(rows)
    effect = _effect(rows, happened, analysis)
    base = replace(base, n=n, events=events, n_dropped=len(selection.frame) - n, confidence=None)
    yield replace(base, measure="count", term="stifles", estimate=float(n))
    yield replace(base, measure="count", term="events", estimate=float(events))
    yield replace(base, measure="design_effect", estimate=effect)
    yield from _per_parameter(base, selection, analysis)
    if analysis.exposure and len(_levels(rows, analysis)) == 2:
        yield from _widths(base, rows, analysis, effect)


def _with_outcome(frame: pl.DataFrame, analysis: Analysis) -> pl.DataFrame:
    coded = EVENT if analysis.event else OUTCOME
    needed = [name for name in (coded, analysis.exposure, analysis.time) if name in frame.columns]
    return frame.drop_nulls(needed)


def _happened(rows: pl.DataFrame, analysis: Analysis) -> pl.Series:
    coded = EVENT if analysis.event else OUTCOME
    if coded not in rows.columns:
        return pl.Series([False] * len(rows), dtype=pl.Boolean)
    return rows[coded] == OF_INTEREST


def _effect(rows: pl.DataFrame, happened: pl.Series, analysis: Analysis) -> float:
    if not analysis.cluster or rows.is_empty():
        return 1.0
    return design_effect(happened.cast(pl.Float64).to_numpy(), rows[analysis.cluster].to_numpy())


def _levels(rows: pl.DataFrame, analysis: Analysis) -> tuple[str, ...]:
    if not analysis.exposure:
        return ()
    return analysis.levels or tuple(rows[analysis.exposure].unique().cast(pl.String).to_list())


def _per_parameter(base: Estimate, selection: Selection, analysis: Analysis) -> Iterator[Estimate]:
    """Divide events by the parameters of the adjusted model, in its complete rows."""
    if not analysis.terms:
        return
    coded = EVENT if analysis.event else OUTCOME
    base = replace(base, measure="events_per_parameter", adjustment="adjusted")
    try:
        design, rows = make_design(selection, analysis, analysis.terms, also=(coded,))
    except ValueError:
        yield concerned(base, ("not_identified",))
        return
    parameters, events = len(design.columns), int(_happened(rows, analysis).sum())
    counted = events if analysis.event else min(events, len(rows) - events)
    found = events_per_parameter(events, parameters, n=None if analysis.event else len(rows))
    row = replace(
        base, estimate=found, n=len(rows), events=counted, df=float(parameters),
        n_dropped=sum(design.dropped.values()),
    )  # fmt: skip
    yield concerned(row, ("few_events_per_parameter",) if found < ENOUGH else ())


def _widths(
    base: Estimate, rows: pl.DataFrame, analysis: Analysis, effect: float
) -> Iterator[Estimate]:
    levels = _levels(rows, analysis)
    exposed = rows[analysis.exposure or ""].cast(pl.String) == levels[1]
    share = float(exposed.sum()) / len(rows) if len(rows) else 0.0
    n, events = base.n or 0, base.events or 0
    wanted = [expected_risk_difference(n, events, share, design_effect=effect)]
    if analysis.model == "logistic":
        wanted.append(expected_log_odds_ratio(n, events, share, design_effect=effect))
    elif analysis.model == "cox":
        wanted.append(expected_log_hazard_ratio(events, share, design_effect=effect))
    for item in wanted:
        yield _width(base, item, (analysis.exposure or "", levels, share))


def _width(
    base: Estimate, expected: ExpectedInterval, exposure: tuple[str, tuple[str, ...], float]
) -> Estimate:
    """Give the width: high less low for a difference, high over low for a ratio."""
    column, levels, share = exposure
    value = expected.width if expected.high_over_low is None else expected.high_over_low
    finite = bool(np.isfinite(expected.std_error))
    row = replace(
        base, measure="expected_interval_width", term=expected.measure, level=levels[1],
        reference=levels[0], estimate=value if finite else None,
        std_error=expected.std_error if finite else None, confidence=expected.confidence,
        method=f"{expected.formula}; {column}: share exposed {share:.3f}",
    )  # fmt: skip
    return concerned(row, () if finite else ("no_events",))


def precision_of_all(cohort: pl.DataFrame, analyses: Iterable[Analysis]) -> Iterator[Estimate]:
    """Give the rows of every analysis, in the order of the plan."""
    cohort = included(cohort) if "left_at" in cohort.columns else cohort
    for analysis in analyses:
        if analysis.table != "cohort":
            continue  # stretches of one stifle are no stifles
        yield from precision_of(cohort, analysis)
