"""What a protocol leaves: flow, sets, events, follow-up and precision, blind to exposure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.cohort import Cohort, build_cohort
from pipeline.descriptive.arms import included
from pipeline.descriptive.completeness import completeness, follow_up, rechecks
from pipeline.descriptives import precision_rows
from pipeline.flow import SETS, flow_svg
from pipeline.linked import Linked
from pipeline.plan import parse_analyses
from pipeline.report.text import fixed, whole
from pipeline.study import Study, study_of
from shared.estimate import Estimate

ALL = "all"
EVENTS = {
    "relux": ("reluxation", "Reluxations, set B", "set_b"),
    "implant": ("implant_complication", "Tuberosity or implant complications, set D", "set_d"),
}
PRECISION = {
    "events": "events", "events_per_parameter": "events per parameter",
    "expected_interval_width": "expected width of the interval",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Preview:
    """Numbers by the words they stand under, in the order of the page, and the flow drawn."""

    numbers: Mapping[str, str]
    flow: str


def study_with(study: Study, values: Mapping[str, Mapping[str, Any]]) -> Study:
    """Give the study under other values of its switches.

    Raises
    ------
    PlanError
        If two switches contradict, or a value is wrong.
    """
    raw: dict[str, Any] = {**study.raw}
    for section, keys in values.items():
        given = {**raw.get(section, {}), **keys}
        raw[section] = {key: value for key, value in given.items() if value is not None}
    return study_of(raw, study.folder)


def preview(linked: Linked, study: Study) -> Preview:
    """Build the cohort of a protocol and count it; outcomes over all, never by exposure.

    Raises
    ------
    StudyError
        If nobody is left, or the protocol or a plan cannot be used.
    """
    cohort = build_cohort(linked, study)
    stifles = included(cohort.wide)
    numbers = _sizes(cohort) | _events(stifles, study.outcomes.horizons)
    numbers |= _follow_up(stifles, max(study.outcomes.horizons))
    rows = precision_rows(stifles, parse_analyses(_possible(study, stifles.columns)))
    return Preview(numbers=numbers | _precision(rows), flow=flow_svg(cohort.flow))


def _possible(study: Study, columns: Iterable[str]) -> list[Mapping[str, Any]]:
    """Leave out analyses of an outcome by a day that is no horizon of this protocol."""
    there = set(columns)
    return [block for block in study.analyses if block.get("outcome") in {None, *there}]


def _sizes(cohort: Cohort) -> dict[str, str]:
    counts = cohort.counts
    sizes = {f"Stifles, {label}": whole(counts[name]) for name, label in SETS.items()}
    return {"Animals in the cohort": whole(counts["included_animals"])} | sizes | {
        "Stifles whose reluxation is held": whole(counts["relux_held"]),
    }  # fmt: skip


def _events(stifles: pl.DataFrame, horizons: tuple[int, ...]) -> dict[str, str]:
    found: dict[str, str] = {}
    for outcome, (state, label, inside) in EVENTS.items():
        rows = stifles.filter(inside)
        happened = (rows[f"{outcome}_state"] == state).fill_null(value=False)
        found[label] = whole(int(happened.sum()))
        for day in horizons:
            by_day = rows[f"{outcome}_by_{day}"]
            found[f"{label}: by day {day}, of those known"] = (
                f"{whole(int(by_day.fill_null(value=False).sum()))} of {whole(by_day.count())}"
            )
    return found


def _follow_up(stifles: pl.DataFrame, horizon: int) -> dict[str, str]:
    found: dict[str, str] = {}
    for row in (*follow_up(stifles), *completeness(stifles, [], horizon), *rechecks(stifles, [])):
        if row.group != ALL or row.outcome not in {None, "relux"}:
            continue
        if row.measure == "median":
            found["Median follow-up for reluxation, days"] = _fixed(row.estimate, 0)
        elif row.measure == "completeness":
            label = f"Completeness of follow-up to day {horizon} (Clark), of 100"
            found[label] = _fixed(row.estimate, 0, 100)
        elif row.day is not None:
            label = f"Palpated in the time frame that ends on day {row.day:g}, of 100 due"
            found[label] = _fixed(row.estimate, 0, 100)
    return found


def _precision(rows: Iterable[Estimate]) -> dict[str, str]:
    found: dict[str, str] = {}
    for row in rows:
        if row.role != "primary":
            continue
        name = row.term if row.measure == "count" else row.measure
        if name not in PRECISION:
            continue
        words = PRECISION[name]
        if row.measure == "expected_interval_width":
            words += f", {(row.term or '').replace('_', ' ')}"
            words += " (high over low)" if row.term != "risk_difference" else ", of 100"
        factor = 100 if row.term == "risk_difference" else 1
        found[f"{row.analysis}: {words}"] = (
            whole(row.estimate or 0) if name == "events" else _fixed(row.estimate, 1, factor)
        )
    return found


def _fixed(value: float | None, decimals: int, factor: float = 1.0) -> str:
    return "not defined" if value is None else fixed(factor * value, decimals)
