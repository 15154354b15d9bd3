"""Why a stifle that an export names is not in the study: the rule that stopped its row."""

from typing import TYPE_CHECKING

import polars as pl

if TYPE_CHECKING:
    from pipeline.run import Run


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
