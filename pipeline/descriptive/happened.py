"""What happened, counted: first events by time frame, worst severity, complications by type."""

import re
from collections.abc import Iterator
from dataclasses import replace

import polars as pl

from shared.estimate import Estimate

# Upper end of each time frame, in days after surgery (Cook et al. 2010, days by protocol).
FRAMES = (("perioperative", 91), ("short term", 183), ("mid term", 365), ("long term", None))
OUTCOMES = (
    "relux", "relux_important", "relux_revised", "opposite", "implant", "tuberosity",
    "hardware", "irritation", "major_cook", "major_revision",
)  # fmt: skip
BY_A_DAY = re.compile(r"(relux|implant)_by_\d+|ssi_\d+")
CLASSES = ("worst_severity", "last_function_class")
MANY = 3  # days with complications, from which stifles are counted together


def outcome_counts(cohort: pl.DataFrame) -> Iterator[Estimate]:
    """Count how each outcome's time at risk ended (`state`), by time frame (`level`).

    Counts among stifles at risk, whatever their follow-up: no risks.
    """
    for outcome in OUTCOMES:
        if {f"{outcome}_day", f"{outcome}_state"} <= set(cohort.columns):
            yield from _ends(cohort, outcome)
    by_a_day = [name for name in cohort.columns if BY_A_DAY.fullmatch(name)]
    for name in (*by_a_day, *CLASSES):
        if name in cohort.columns:
            yield from _values(cohort, name)


def recurrent_counts(stretches: pl.DataFrame, cohort: pl.DataFrame) -> Iterator[Estimate]:
    """Count the stretches of the counting form, and stifles by their days with complications.

    `level` is the number of such days, the last one "3 or more". Held stifles are in no stretch.
    """
    inside = stretches.join(cohort.select("stifle_id"), on="stifle_id", how="semi")
    days = inside.group_by("stifle_id").agg(days=pl.col("complication").sum())["days"]
    base = Estimate(
        analysis="recurrent", measure="count", outcome="complication", n=len(days),
        n_dropped=len(cohort) - len(days),
    )  # fmt: skip
    totals = {
        "stretches": len(inside),
        "days": int(inside["complication"].sum()),
        "complications": int(inside["complications_of_day"].sum()),
    }
    for term, count in totals.items():
        yield replace(base, term=term, estimate=float(count), events=count)
    for many in range(MANY + 1):
        found = days >= many if many == MANY else days == many
        level = f"{many} or more" if many == MANY else str(many)
        count = int(found.sum())
        yield replace(base, term="stifles", level=level, estimate=float(count), events=count)


def event_counts(events: pl.DataFrame) -> Iterator[Estimate]:
    """Count stifles with each type of event (`term`) by source (`state`) and time frame."""
    kept = events.filter(pl.col("event").is_not_null())
    for source, event in kept.select("source", "event").unique().sort("source", "event").rows():
        rows = kept.filter((pl.col("source") == source) & (pl.col("event") == event))
        base = Estimate(analysis="events", state=source, term=event, measure="count")
        yield from _by_frame(base, rows, "day")


def _ends(cohort: pl.DataFrame, outcome: str) -> Iterator[Estimate]:
    day, state = f"{outcome}_day", f"{outcome}_state"
    known = cohort.filter(pl.col(state).is_not_null())
    base = Estimate(
        analysis="outcomes", outcome=outcome, measure="count", n=len(known),
        n_dropped=len(cohort) - len(known),
    )  # fmt: skip
    yield replace(base, term="at_risk", estimate=float(len(known)))
    for name in known[state].unique().sort().to_list():
        yield from _by_frame(replace(base, state=name), known.filter(pl.col(state) == name), day)


def _by_frame(base: Estimate, rows: pl.DataFrame, day: str) -> Iterator[Estimate]:
    """Count stifles in all frames together (no `level`), then in each; one a stifle and frame."""
    yield _count(base, rows)
    before = -1
    for name, last in FRAMES:
        inside = pl.col(day) > before if last is None else pl.col(day).is_between(before + 1, last)
        yield _count(replace(base, level=name), rows.filter(inside))
        before = last or before
    undated = rows.filter(pl.col(day).is_null())
    if len(undated):
        yield _count(replace(base, level="day not known"), undated)


def _count(base: Estimate, rows: pl.DataFrame) -> Estimate:
    count = rows["stifle_id"].n_unique()
    return replace(base, estimate=float(count), events=count)


def _values(cohort: pl.DataFrame, name: str) -> Iterator[Estimate]:
    text = cohort[name].cast(pl.String)
    known = text.drop_nulls()
    for value in known.unique().sort().to_list():
        count = int((known == value).sum())
        yield Estimate(
            analysis="outcomes", outcome=name, level=value, measure="count", events=count,
            estimate=float(count), n=len(known), n_dropped=len(text) - len(known),
        )  # fmt: skip
