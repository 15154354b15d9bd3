"""Complications by type and severity, and which types met in one stifle."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import polars as pl

from shared.estimate import Estimate

SEVERITIES = ("minor", "major_medical", "major_surgical", "catastrophic")
NOT_CLASSED = "not_classed"
JOIN = " + "
SHOWN = 15  # combinations with a line of their own
OTHERS = "other combinations"


def complication_severity(events: pl.DataFrame) -> Iterator[Estimate]:
    """Count stifles by type of complication (`term`) and severity (`level`), after surgery.

    A stifle counts once in a type and class; without `level`: once in the type, in any class.
    """
    rows = _complications(events)
    for event in rows["event"].unique().sort().to_list():
        own = rows.filter(pl.col("event") == event)
        base = Estimate(analysis="severity", term=event, measure="count")
        yield _count(base, own)
        for level in (*SEVERITIES, NOT_CLASSED):
            here = own.filter(pl.col("severity_class").fill_null(NOT_CLASSED) == level)
            yield _count(replace(base, level=level), here)


def combinations(events: pl.DataFrame) -> Iterator[Estimate]:
    """Count stifles by the types of complication they had (`level`, joined by " + ").

    The commonest combinations have a row each, the others one together; without `level`: all
    stifles with a complication after surgery.
    """
    rows = _complications(events)
    sets = rows.group_by("stifle_id").agg(pl.col("event").unique().sort())["event"].to_list()
    found = sorted(Counter(JOIN.join(types) for types in sets).items(),
                   key=lambda item: (-item[1], item[0]))  # fmt: skip
    base = Estimate(analysis="combinations", term="types", measure="count")
    if not found:
        return
    total = sum(count for _, count in found)
    yield replace(base, estimate=float(total), events=total)
    rest = sum(count for _, count in found[SHOWN:])
    for level, count in [*found[:SHOWN], *([(OTHERS, rest)] if rest else [])]:
        yield replace(base, level=level, estimate=float(count), events=count)


def _complications(events: pl.DataFrame) -> pl.DataFrame:
    theatre = pl.col("intraoperative").fill_null(value=False)
    told = (pl.col("source") == "complication") & pl.col("event").is_not_null()
    return events.filter(told & ~theatre)


def _count(base: Estimate, rows: pl.DataFrame) -> Estimate:
    count = rows["stifle_id"].n_unique()
    return replace(base, estimate=float(count), events=count)
