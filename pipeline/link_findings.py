"""What linking asks the clinics beyond the rules: operations sent twice or as new cases."""

from collections.abc import Iterator, Mapping
from typing import Any

import polars as pl

from schemas.findings import findings

WHERE = ("row_id", "file", "sheet", "row")
CONFIRM = "Confirm that it is the same animal, or say that the transponder number was mistyped."


def link_findings(told: pl.DataFrame, contradictions: pl.DataFrame) -> pl.DataFrame:
    """Put the questions in one frame.

    Parameters
    ----------
    told
        Rows of stifles by row_id, as sent, with kind, day and animal_no of the table `operations`
        of SQL: at least those of later operations and of the animals of `contradictions`.
    contradictions
        The table `contradictory_links` of SQL.
    """
    found = [*_reported_twice(told), *_sent_as_new(told)]
    found += _contradictory(told.join(contradictions, on="animal_no", how="inner"))
    return findings(found)


def _reported_twice(told: pl.DataFrame) -> Iterator[dict[str, Any]]:
    for row in told.filter(pl.col("kind") == "reported_twice").iter_rows(named=True):
        yield _about(row) | {
            "rule": "R05", "action": "ask", "variable": "surgery_date",
            "says": "This operation is reported twice under one link key; it is counted once.",
            "fix": "Confirm that there was one operation on this joint that day.",
        }  # fmt: skip


def _sent_as_new(told: pl.DataFrame) -> Iterator[dict[str, Any]]:
    """Tell of joints that were operated before, so that the row is no new case."""
    for row in told.filter(pl.col("kind") == "revision").iter_rows(named=True):
        dated = row["day"] is not None
        yield _about(row) | {
            "rule": "R70", "variable": "surgery_date",
            "action": "derive" if dated else "hold",
            "says": "The joint was operated before; this operation is counted as a revision"
            + (f", {row['day']} days later." if dated
               else ", but one clinic shifts its dates, so that its day is not known."),
            "fix": "Confirm the earlier operation and give the reason for this one.",
            "holds": "" if dated else "outcome:all",
        }  # fmt: skip


def _contradictory(told: pl.DataFrame) -> Iterator[dict[str, Any]]:
    for row in told.sort("row_id", "what").iter_rows(named=True):
        yield _about(row) | {
            "rule": "R04", "action": "hold", "variable": "local_animal",
            "says": "Two codes of the study have one link key, but the clinics differ on the "
            f"{row['what']}.",
            "fix": CONFIRM, "holds": "outcome:all",
        }  # fmt: skip


def _about(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "clinic_id": row["clinic_id"], "table": "stifles",
        "key": f"{row['local_animal']}, {row['side']}", "value": row["local_animal"],
        **{name: row[name] for name in WHERE},
    }  # fmt: skip
