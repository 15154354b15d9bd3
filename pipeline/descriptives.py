"""The cohort described: table 1, accrual, missing values, follow-up, overlap, counts, risks."""

from collections.abc import Iterable, Mapping

import polars as pl

from pipeline.descriptive.accrual import accrual
from pipeline.descriptive.adherence import adherence
from pipeline.descriptive.arms import exposures, included
from pipeline.descriptive.combined import combinations, complication_severity
from pipeline.descriptive.completeness import (
    completeness,
    follow_up,
    held,
    missing_values,
    rechecks,
)
from pipeline.descriptive.happened import event_counts, outcome_counts, recurrent_counts
from pipeline.descriptive.lost import lost_comparison
from pipeline.descriptive.overlap import overlap
from pipeline.descriptive.precision import precision_of_all
from pipeline.descriptive.raters import rater_agreement, readings_of
from pipeline.descriptive.risk_table import risk_table
from pipeline.descriptive.table1 import table_one
from pipeline.descriptive.variables import described
from pipeline.descriptive.visits import unscheduled_share, visits_of
from pipeline.plan import Analysis
from pipeline.study import Study
from schemas.codebook import Variable
from shared.errors import NoEventsError
from shared.estimate import Estimate
from shared.files import as_text


def describe(
    cohort: pl.DataFrame,
    study: Study,
    codebook: tuple[Variable, ...],
    *,
    events: pl.DataFrame | None = None,
    recurrent: pl.DataFrame | None = None,
    tables: Mapping[str, pl.DataFrame] | None = None,
) -> list[Estimate]:
    """Describe the included stifles of a cohort.

    Parameters
    ----------
    cohort
        The cohort's table, one row per accepted index stifle; those that left are not described.
    study
        Names the exposures (by its analyses).
    codebook
        Declarations of every variable, the cohort's own included.
    events
        One row per event of a stifle (``Cohort.events``), for counts by type.
    recurrent
        Complications in counting form (``Cohort.recurrent``).
    tables
        The linked tables, for what is told of visits and of readings of images.

    Returns
    -------
    list of Estimate
        By analysis: "table1" and "table1_<exposure>" (group = arm, term = variable, level),
        "accrual" (group = clinic, level = year), "missing" (group = clinic), "follow_up",
        "completeness" and "completeness_<exposure>", "table1_lost" (group = followed or lost),
        "visits" and "visits_<exposure>" (share unscheduled), "rechecks" and
        "rechecks_<exposure>" (group = clinic, level = arm, day), "overlap_<exposure>",
        "overlap_surgeon_<exposure>", "outcomes", "events", "severity", "combinations",
        "recurrent", "held", "adherence" (group = clinic, term = item), "raters"
        (term = measure, level = pair) and "per_100" (group = weight band, level = grade).
    """
    stifles = included(cohort)
    arms = exposures(stifles, study)
    rows = [*table_one(stifles, arms, codebook)]
    rows += accrual(stifles)
    rows += missing_values(stifles, described(stifles, codebook))
    rows += follow_up(stifles)
    rows += completeness(stifles, arms, max(study.outcomes.horizons))
    rows += lost_comparison(stifles, max(study.outcomes.horizons), codebook)
    rows += rechecks(stifles, arms)
    if tables is not None:
        rows += unscheduled_share(visits_of(tables["rechecks"], stifles), arms)
        rows += rater_agreement(readings_of(tables["measurements"], stifles))
    rows += adherence(stifles)
    rows += held(stifles)
    rows += overlap(arms)
    rows += outcome_counts(stifles)
    if events is not None:
        inside = as_text(events.join(stifles.select("stifle_id"), on="stifle_id", how="semi"))
        rows += [*event_counts(inside), *complication_severity(inside), *combinations(inside)]
    if recurrent is not None:
        rows += recurrent_counts(recurrent, stifles)
    rows += risk_table(stifles)
    return rows


def precision_rows(cohort: pl.DataFrame, analyses: Iterable[Analysis]) -> list[Estimate]:
    """Give n, events, events per parameter and expected interval width, blind to exposure.

    Rows carry the model "precision" and the id of their analysis; see
    ``pipeline.descriptive.precision``.
    """
    return list(precision_of_all(cohort, analyses))


def require_events(precision: Iterable[Estimate], analyses: Iterable[Analysis]) -> None:
    """Refuse a primary analysis whose event happened to nobody, before any model.

    Secondary analyses without an event stand in the report with the concern no_events.

    Raises
    ------
    NoEventsError
        Naming the analysis, its outcome and how many stifles were looked at.
    """
    asked = {item.id for item in analyses
             if item.role == "primary" and (item.event or item.outcome)}  # fmt: skip
    for row in precision:
        if row.analysis in asked and row.term == "events" and row.n and not row.events:
            raise NoEventsError(
                f'study.toml, analysis "{row.analysis}"',
                f"none of {row.n} stifles had the event of this primary analysis, {row.outcome}",
                do='See whether the mappings bring it in; with role = "secondary" the report '
                "says that it did not happen.",
            )
