"""What is seen of the tables below the stifles, and what it says of each stifle."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.cohort_facts import complication_facts, revision_facts
from pipeline.cohort_tables import by_number, implants_at_lock, up_to_lock
from pipeline.cohort_visits import luxated, union_days, visit_facts, visits
from pipeline.linked import Linked
from pipeline.sql import ask, open_database, run_sql
from shared.side_by_side import both

COMPLICATION = (
    "complication_type", "detected_day", "last_negative_day", "intraoperative", "detected_by",
    "severity_class", "treatment", "ssi_depth", "window_days",
)  # fmt: skip
# The statements with a row for each stifle that has such rows.
FACTS = ("implant_facts", "reluxation_days", "opposite_days", "rated_ratios")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """The rows of joints up to the data lock of their index clinic, by number.

    Attributes
    ----------
    visits, luxated
        As in ``pipeline/cohort_visits.py``.
    complications, revisions
        One row per row of those tables.
    implants
        One row per implant; what was taken out after the lock is still in.
    measurements
        One row per reading of an image.
    n_late
        How many rows came after the lock.
    """

    visits: pl.DataFrame
    luxated: pl.DataFrame
    complications: pl.DataFrame
    revisions: pl.DataFrame
    implants: pl.DataFrame
    measurements: pl.DataFrame
    n_late: int


def seen_rows(linked: Linked, joints: pl.DataFrame) -> Seen:
    """Take from the tables below the stifles what is seen of them."""
    below = linked.below
    rechecks = visits(below["rechecks"], joints)
    complications = up_to_lock(
        below["complications"], joints, day="detected_day", columns=COMPLICATION
    )
    revisions = up_to_lock(
        below["revisions"], joints, day="revision_day",
        columns=("revision_day", "revision_reason", "window_days"),
    )  # fmt: skip
    given = sum(
        below[name].stifle_no.count() for name in ("rechecks", "complications", "revisions")
    )
    return Seen(
        visits=rechecks, luxated=luxated(rechecks, joints), complications=complications,
        revisions=revisions, implants=implants_at_lock(below["implants"], joints),
        measurements=below["measurements"].rows.with_columns(
            stifle_no=below["measurements"].stifle_no.cast(pl.Int64)),
        n_late=given - rechecks.height - complications.height - revisions.height,
    )  # fmt: skip


def stifle_facts(
    seen: Seen, *, n_stifles: int, changes_construct: Sequence[str]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Give one row per stifle with all that single rows say of it, and the reluxation findings."""
    shown = {
        "luxated": seen.luxated, "seen_complications": seen.complications,
        "seen_revisions": seen.revisions, "seen_implants": seen.implants,
        "measurements": seen.measurements,
    }  # fmt: skip
    ((findings, told), complicated), (visited, revised) = both(
        lambda: (_asked(shown, n_stifles), complication_facts(seen.complications, n_stifles)),
        lambda: (
            visit_facts(seen.visits, n_stifles),
            revision_facts(seen.revisions, union_days(seen.visits, n_stifles),
                           changes_construct=changes_construct),
        ),
    )  # fmt: skip
    return pl.concat([visited, complicated, revised, *told], how="horizontal"), findings


def _asked(
    shown: Mapping[str, pl.DataFrame], n_stifles: int
) -> tuple[pl.DataFrame, list[pl.DataFrame]]:
    """Ask the statements over these frames: the reluxation findings, and a row per stifle each."""
    with open_database(shown) as connection:
        findings = run_sql(connection, "reluxation_findings")
        told = [ask(connection, name).cast({pl.Int64: pl.Int32}) for name in FACTS]
        return findings, [by_number(rows, n_stifles) for rows in told]
