"""Where a stifle that an export names went: in, out at a step, part of another, or stopped."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import polars as pl

from pipeline.cohort import Cohort, explain
from pipeline.linked import Linked

if TYPE_CHECKING:
    from pipeline.run import Run


KINDS: Mapping[str, str] = {
    "index": "and its operation is the index operation",
    "revision": "and its operation counts as a revision of the index operation",
    "earlier": "and its operation came before the index operation",
    "reported_twice": "and its operation is the index operation, which two clinics reported",
}


def why(done: "Run", stifle_id: str) -> str:
    """Say in one sentence where any stifle went that an export names."""
    return why_stopped(done, stifle_id) or why_linked(
        done.the_cohort, done.linked, done.checked.tables["stifles"], stifle_id
    )


def why_linked(cohort: Cohort, linked: Linked, stifles: pl.DataFrame, stifle_id: str) -> str:
    """Say in one sentence why an accepted stifle is in, or at which step it left.

    Parameters
    ----------
    cohort, linked
        What was made of the accepted tables.
    stifles
        The accepted rows of stifles.
    stifle_id
        A stifle of the study, or a clinic's own code of one: clinic, animal and side.
    """
    code = pl.format("{}:{}:{}", "clinic_id", "local_animal", "side")
    sent = linked.sent.filter(stifles.select(code == stifle_id).to_series())
    names = linked.tables["stifles"]["stifle_id"].gather(sent["stifle_no"])
    if sent.is_empty() or stifle_id in names:
        return explain(cohort, stifle_id)
    joint, (kind, day) = names[0], sent.select("kind", "day").row(0)
    after = f" {abs(day)} days {'later' if day > 0 else 'before it'}" if day else ""
    return (
        f"{stifle_id} is the joint {joint} under another code of the animal, {KINDS[kind]}{after}: "
        f"{explain(cohort, joint)}"
    )


def why_stopped(done: "Run", stifle_id: str) -> str:
    """Say which row of a stifle was stopped, by which rule and what it asks; "" if none was."""
    if stifle_id in done.the_cohort.table["stifle_id"]:
        return ""
    clinic, _, local = stifle_id.partition(":")
    rows = done.corrected.mapped.tables["stifles"].filter(
        pl.col("clinic_id") == clinic, pl.col("local_stifle") == local
    )
    stops = done.checked.stopped.filter(pl.col("table") == "stifles").select("row_id", "rule")
    stopped = rows.join(stops, on="row_id", how="inner", maintain_order="left").sort(
        "row_id", "rule"
    )
    if stopped.is_empty():
        return ""
    row = stopped.row(0, named=True)
    sheet = f" [{row['sheet']}]" if row["sheet"] else ""
    return (
        f"{stifle_id} is not in the study: its row {row['row']} in {clinic}/{row['file']}{sheet} "
        f"was stopped by rule {row['rule']}{_asked(done, row['row_id'], row['rule'])}"
    )


def _asked(done: "Run", row_id: str, rule: str) -> str:
    found = done.findings.filter(
        pl.col("row_id") == row_id, pl.col("rule") == rule, pl.col("action") == "stop"
    ).sort("variable")  # fmt: skip
    if found.is_empty():
        return "."
    says, fix = found.select("says", "fix").row(0)
    return f": {says} {fix}"
