"""Random studies computed twice, by SQL and in plain Python, and what differs."""

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.cohort import Cohort, build_cohort
from pipeline.flow_counts import ALL
from pipeline.link import link
from pipeline.linked import Linked
from tests.pipeline.invented import holds_of, study_of
from tests.pipeline.random_studies import planned_days, random_tables
from tests.pipeline.second_cohort import Second, second_cohort, second_flow

TARGETS = ("outcome:all", "outcome:reluxation", "outcome:implant", "severity_class")
PROTOCOLS: tuple[dict[str, Any], ...] = (
    {},
    {"cruciate_procedure": "in", "groove_replacement": True, "grades": (1, 2, 3, 4)},
    {"cruciate_procedure": "out", "earlier_surgery": (), "set_b_from_day": 28},
    {
        "species": ("dog", "cat"),
        "direction": ("medial", "lateral", "bidirectional"),
        "procedures": ("ttt",),
        "earlier_surgery": ("cruciate", "other"),
    },
)
RULES: tuple[dict[str, Any], ...] = (
    {},
    {"death_window_days": 30, "window_days": 14, "changes_construct": ("other",)},
)
COUNTED = ("operations", "animals", "stifles", "left_operations", "left_stifles")


@dataclass(frozen=True)
class Computed:
    """One random study computed both ways, and what differs."""

    cohort: Cohort
    second: Second
    differences: list[str]


def compute(seed: int, n_stifles: int) -> Computed:
    """Compute one random study both ways, some outcomes held, some days planned."""
    tables = random_tables(seed, n_stifles)
    keys = tables["stifles"].select("clinic_id", "local_stifle").gather_every(9).rows()
    holds = holds_of(*((*key, TARGETS[place % 4]) for place, key in enumerate(keys)))
    marks = planned_days(tables)
    study = study_of(eligibility=PROTOCOLS[seed % 4], outcomes=RULES[seed % 2])
    cohort = build_cohort(link(tables, holds, marks=marks), study)
    second = second_cohort(tables, holds, study, windows_of(marks))
    return Computed(cohort, second, [f"seed {seed}, {line}" for line in differ(cohort, second)])


def linked_random(seed: int, n_stifles: int) -> tuple[Linked, pl.DataFrame]:
    """Link the study of `compute`, and give its accepted rows of stifles."""
    tables = random_tables(seed, n_stifles)
    return link(tables, holds_of()), tables["stifles"]


def windows_of(marks: pl.DataFrame) -> dict[str, int]:
    """Give the half widths of planned days by row."""
    return dict(marks.filter(mark="nominal").select("row_id", "window_days").iter_rows())


def differ(cohort: Cohort, second: Second) -> list[str]:
    """Name every stifle, column and step in which the two computations differ."""
    found = {row["stifle_id"]: row for row in cohort.table.iter_rows(named=True)}
    assert found.keys() == second.stifles.keys()
    lines = [
        f"{name}, {column}: {found[name][column]} and {value}"
        for name, row in second.stifles.items()
        for column, value in row.items()
        if found[name][column] != value
    ]
    for clinic in (None, *sorted(cohort.table["clinic_id"].unique())):
        part = cohort.flow.filter(pl.col("clinic_id") == (clinic or ALL)).sort("step")
        if (counted := part.select(COUNTED).rows()) != (own := second_flow(second, clinic)):
            lines.append(f"flow of {clinic}: {counted} and {own}")
    stretches: dict[str, list[tuple[object, ...]]] = {}
    for stifle, _, _, place, *rest in cohort.recurrent.rows():
        stretches.setdefault(stifle, []).append(tuple(rest))
        assert place == len(stretches[stifle])
    own = {name: found for name, found in second.stretches.items() if found}
    lines += [
        f"{name}, stretches: {stretches.get(name)} and {own.get(name)}"
        for name in sorted({*stretches, *own})
        if stretches.get(name) != own.get(name)
    ]
    pairs = cohort.table.filter(session_type="bilateral_same_session").group_by("animal_id")
    drawn = pairs.agg(pl.col("first_joint").sum()).sort("animal_id")
    lines += [f"{animal}: {n} first joints" for animal, n in drawn.rows() if n != 1]
    return lines
