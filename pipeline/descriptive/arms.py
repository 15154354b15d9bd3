"""The exposures of a study, and the included stifles in each arm."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import polars as pl

from analysis.design import level_text, ordered_levels
from pipeline.analyses.selection import population_label, select_rows
from pipeline.plan import Analysis, parse_analysis
from pipeline.study import Study
from shared.errors import PlanError
from shared.files import as_text

ALL = "all"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exposure:
    """One exposure of the plan with the stifles of its first analysis.

    `frame` holds the included stifles of the population whose exposure is one of `levels`; the
    column "arm" is the exposure as text. The first level is the reference.
    """

    column: str
    levels: tuple[str, ...]
    population: str | None
    frame: pl.DataFrame

    def arms(self) -> Iterator[tuple[str, pl.DataFrame]]:
        """Give each level with its stifles, the reference first."""
        for level in self.levels:
            yield level, self.frame.filter(pl.col("arm") == level)


def included(cohort: pl.DataFrame) -> pl.DataFrame:
    """Give the stifles that no step of the protocol removed, their codes as texts.

    Levels, states and clinics go by the alphabet in what is counted and fitted from here on, and
    words may be met there that the codebook does not declare.
    """
    return as_text(cohort.filter(pl.col("left_at").is_null()))


def exposures(cohort: pl.DataFrame, study: Study) -> tuple[Exposure, ...]:
    """Give each exposure of the plan once, in the order of the plan, primary analyses first."""
    plans = [parse_analysis(raw) for raw in study.analyses]
    plans = sorted(plans, key=lambda plan: plan.role != "primary")
    found: dict[str, Exposure] = {}
    for plan in plans:
        known = plan.exposure in cohort.columns if plan.exposure else False
        if known and plan.exposure and plan.exposure not in found:
            exposure = _exposure(cohort, plan, plan.exposure)
            if exposure is not None:
                found[plan.exposure] = exposure
    return tuple(found.values())


def by_clinic(frame: pl.DataFrame) -> Iterator[tuple[str, pl.DataFrame]]:
    """Give the whole frame as "all", then each clinic's part, clinics in order of their code."""
    yield ALL, frame
    for clinic in frame["clinic_id"].unique().sort().to_list():
        yield clinic, frame.filter(pl.col("clinic_id") == clinic)


def codes_of(frame: pl.DataFrame, column: str, codes: Mapping[str, str]) -> tuple[str, ...]:
    """Give the levels of a text column: declared codes in their order, then any other."""
    present = set(frame[column].drop_nulls().to_list())
    others = sorted(present - set(codes))
    return (*(code for code in codes if code in present), *others)


def _exposure(cohort: pl.DataFrame, plan: Analysis, column: str) -> Exposure | None:
    try:
        frame = select_rows(included(cohort), plan).frame
    except PlanError:  # nobody is left in the population: its own analysis says so
        return None
    frame = frame.with_columns(level_text(frame[column]).alias("arm"))
    frame = frame.filter(pl.col("arm").is_not_null())
    present = ordered_levels(frame["arm"])
    levels = tuple(level for level in (plan.levels or present) if level in present)
    reference = plan.categorical.get(column)
    if reference in levels:
        levels = (reference, *(level for level in levels if level != reference))
    if not levels:
        return None
    return Exposure(column=column, levels=levels, population=population_label(plan), frame=frame)
