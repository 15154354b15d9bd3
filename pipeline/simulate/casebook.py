"""One clinic's cases as its own staff would look them up: a stifle with all that happened to it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl

Row = dict[str, Any]
FAMILY = {
    "implant_migration", "implant_breakage", "implant_irritation", "tuberosity_fracture", "other",
}  # fmt: skip
IMPLANT_EVENTS = ("kwire_", "wire_", "tuberosity_", "implant_", "screw_")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """One operated stifle: `facts` of animal, stifle and procedure; events carry a ``date``."""

    facts: Row
    rechecks: tuple[Row, ...]
    complications: tuple[Row, ...]
    revisions: tuple[Row, ...]

    @property
    def animal(self) -> str:
        """Code of the animal."""
        return str(self.facts["local_animal"])

    @property
    def operated(self) -> date:
        """Date of the index operation."""
        found: date = self.facts["surgery_date"]
        return found

    @property
    def last_known(self) -> date:
        """Date on which follow-up ends."""
        return self.operated + timedelta(days=int(self.facts["end_of_followup_day"]))

    def revision_of(self, complication: Row) -> Row | None:
        """Give the later operation that a complication led to, if it led to one."""
        kind = str(complication["complication_type"])
        for revision in self.revisions:
            reason = revision["revision_reason"]
            if reason == kind or (reason in FAMILY and kind.startswith(IMPLANT_EVENTS)):
                return revision
        return None


def cases_of(tables: Mapping[str, pl.DataFrame], clinic_id: str) -> list[Case]:
    """Give the cases of one clinic by date of operation, then animal and side."""
    own = {name: frame.filter(pl.col("clinic_id") == clinic_id) for name, frame in tables.items()}
    facts = (
        own["stifles"]
        .join(own["animals"].drop("clinic_id"), on="local_animal")
        .join(own["procedures"].drop("clinic_id"), on="local_stifle")
        .sort("surgery_date", "local_animal", "side")
    )
    dates = dict(facts.select("local_stifle", "surgery_date").iter_rows())
    events = {
        name: _by_stifle(own[name], dates, day)
        for name, day in (("rechecks", "recheck_day"), ("complications", "detected_day"),
                          ("revisions", "revision_day"))
    }  # fmt: skip
    return [
        Case(facts=row, **{
            name: tuple(found.get(row["local_stifle"], ())) for name, found in events.items()
        })
        for row in facts.iter_rows(named=True)
    ]  # fmt: skip


def _by_stifle(frame: pl.DataFrame, dates: Mapping[str, date], day: str) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in frame.sort("local_stifle", day).iter_rows(named=True):
        stifle = str(row["local_stifle"])
        row["date"] = dates[stifle] + timedelta(days=int(row[day]))
        found.setdefault(stifle, []).append(row)
    return found
