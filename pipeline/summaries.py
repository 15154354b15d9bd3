"""The closing lines of a run, by how far it went."""

from typing import TYPE_CHECKING

import polars as pl

from pipeline.queries import COORDINATORS, FOR_COORDINATOR
from pipeline.summary import Summary

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.run import Run

NEXT = {"check": "cohort", "cohort": "analyse", "analyse": "compare", "compare": "report"}


def summary_of(done: "Run", *, until: str, draft: bool = False) -> Summary:
    """Say what a run did: rows and their fate, queries, cohort, results, where things are."""
    lists = "out/queries/draft" if draft else "out/queries"
    counts: dict[str, int | str] = {**_rows(done), **_queries(done, lists)}
    folder = done.study.folder
    asked = "queries, as a draft" if draft else "queries to clinics"
    written: dict[str, Path] = {asked: folder / lists}
    written["re-identification"] = folder / "out" / "reidentification.html"
    if done.cohort is not None:
        counts |= _cohort(done)
        written["cohort"] = folder / "out" / "cohort.csv"
    if done.analysed is not None:
        counts["results rows"] = len(done.results)
        written["results"] = folder / "out" / "results.csv"
    if until == "report":
        written["report"] = folder / "out" / "report" / "index.html"
        written["feedback to clinics"] = folder / "out" / "clinics"
    next_step = f"sulca {NEXT[until]} {folder}" if until in NEXT else f"sulca verify {folder}"
    if draft:
        next_step = f"mend the mappings, then sulca check {folder}, which begins a round"
    return Summary(
        done=f"{done.study.title}: {until} done.",
        counts=counts,
        written=written,
        remarks=_ledger(done),
        next_step=next_step,
    )


def _rows(done: "Run") -> dict[str, int | str]:
    source = done.checked.ledger.select(
        pl.col("source_rows", "mapped", "set_aside", "unreadable").sum()
    ).row(0)
    rows = done.checked.ledger_rows.select(
        pl.col("made", "derived", "accepted", "stopped", "merged").sum()
    ).row(0)
    return {
        "rows read": f"{source[0]} = {source[1]} mapped + {source[2]} set aside + "
        f"{source[3]} unreadable",
        "canonical rows": f"{rows[0]} made + {rows[1]} derived = {rows[2]} accepted + "
        f"{rows[3]} stopped + {rows[4]} merged",
    }


def _queries(done: "Run", lists: str) -> dict[str, int | str]:
    by_action = dict(done.findings.group_by("action").len().sort("action").rows())
    asked = ", ".join(f"{count} {action.replace('_', ' ')}" for action, count in by_action.items())
    counts: dict[str, int | str] = {"findings": asked or "none"}
    own = done.findings.filter(pl.col("rule").is_in(list(COORDINATORS)))
    if own.height:
        counts["for the coordinator"] = f"{own.height} of them, in {lists}/{FOR_COORDINATOR}"
    corrected = done.corrected
    if corrected.applied or corrected.silenced or corrected.stale:
        counts["corrections"] = (
            f"{corrected.applied} applied, {corrected.silenced} confirmed as correct, "
            f"{corrected.stale} whose old text no longer stands"
        )
    return counts


def _cohort(done: "Run") -> dict[str, int | str]:
    included = done.the_cohort.table.filter(pl.col("left_at").is_null())
    return {
        "operated stifles": len(done.the_cohort.table),
        "in the cohort": f"{len(included)} stifles of {included['animal_id'].n_unique()} animals",
    }


def _ledger(done: "Run") -> tuple[str, ...]:
    """One line per file: every row read has one fate."""
    return tuple(
        f"{clinic}/{file}{f' [{sheet}]' if sheet else ''}: {read} rows = {mapped} mapped + "
        f"{aside} set aside + {lost} unreadable"
        for clinic, file, sheet, read, mapped, aside, lost in done.checked.ledger.select(
            "clinic_id", "file", "sheet", "source_rows", "mapped", "set_aside", "unreadable"
        ).iter_rows()
    )
