"""Counts of the checks that the report shows, so that no accepted row is needed to write it."""

from dataclasses import dataclass
from typing import Protocol

import polars as pl

from pipeline.intake.screen_findings import RULES

OPEN_ACTIONS = ("stop", "hold", "derive", "ask")


class CheckResult(Protocol):
    """What is read of the result of the checks (``pipeline.check.Checked``)."""

    @property
    def ledger(self) -> pl.DataFrame: ...  # noqa: D102
    @property
    def ledger_rows(self) -> pl.DataFrame: ...  # noqa: D102
    @property
    def findings(self) -> pl.DataFrame: ...  # noqa: D102
    @property
    def holds(self) -> pl.DataFrame: ...  # noqa: D102


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CheckedCounts:
    """What became of every row, and what clinics were asked.

    Attributes
    ----------
    ledger
        Per clinic: source_rows = mapped + set_aside + unreadable.
    ledger_rows
        Per clinic and table: made + derived = accepted + stopped + merged.
    findings
        Number of findings per clinic_id and action (n).
    asked
        Number of findings per clinic_id and variable (n), most first.
    holds
        Number of held stifles per clinic_id and target (n).
    refused
        Number of findings of screening per clinic_id and rule (n).
    allowed
        Columns read although they look like identifiers: clinic_id, column, kinds, because.
    """

    ledger: pl.DataFrame
    ledger_rows: pl.DataFrame
    findings: pl.DataFrame
    asked: pl.DataFrame
    holds: pl.DataFrame
    refused: pl.DataFrame
    allowed: pl.DataFrame


def count_checked(checked: CheckResult, *, allowed: pl.DataFrame) -> CheckedCounts:
    """Count what the report shows of the checks; every frame is sorted."""
    asked = checked.findings.filter(pl.col("action").is_in(OPEN_ACTIONS))
    return CheckedCounts(
        ledger=checked.ledger.group_by("clinic_id").agg(
            pl.col("source_rows", "mapped", "set_aside", "unreadable").sum()
        ).sort("clinic_id"),
        ledger_rows=checked.ledger_rows.select(
            "clinic_id", "table", "made", "derived", "accepted", "stopped", "merged"
        ).sort("clinic_id", "table"),
        findings=checked.findings.group_by("clinic_id", "action").agg(
            n=pl.len().cast(pl.Int64)
        ).sort("clinic_id", "action"),
        asked=asked.group_by("clinic_id", "variable").agg(n=pl.len().cast(pl.Int64)).sort(
            "clinic_id", "n", "variable", descending=[False, True, False]
        ),
        holds=checked.holds.unique(["clinic_id", "local_stifle", "target"]).group_by(
            "clinic_id", "target"
        ).agg(n=pl.len().cast(pl.Int64)).sort("clinic_id", "target"),
        refused=checked.findings.filter(pl.col("rule").is_in(list(RULES))).group_by(
            "clinic_id", "rule"
        ).agg(n=pl.len().cast(pl.Int64)).sort("clinic_id", "rule"),
        allowed=allowed.sort("clinic_id", "column"),
    )  # fmt: skip


def count_id(what: str, clinic_id: str, *parts: str) -> str:
    """Id of a number that was counted by the checks: "checks/findings/north/ask"."""
    return "/".join(("checks", what, clinic_id, *parts))
