"""What the second computation of the cohort knows of one joint, and how an outcome ends."""

from collections.abc import Iterable
from typing import Any

Row = dict[str, Any]
HORIZONS = (91, 183, 365)


class Joint:
    """Everything recorded of one joint, each list in no particular order."""

    def __init__(self, stifle: Row, animal: Row, procedure: Row, clinic: Row) -> None:
        self.stifle, self.animal, self.procedure, self.clinic = stifle, animal, procedure, clinic
        self.rechecks: list[Row] = []
        self.complications: list[Row] = []
        self.revisions: list[Row] = []
        self.lock = (clinic["data_lock_date"] - stifle["surgery_date"]).days


def ends(joint: Joint) -> tuple[int | None, int | None]:
    """Days of death and of amputation."""
    day, status = joint.stifle["end_of_followup_day"], joint.stifle["end_status"]
    known = day is not None and day <= joint.lock
    death = day if known and status in ("died", "euthanised") else None
    amputation = day if known and status == "amputated" else None
    if amputation is None:
        treated = [row["detected_day"] for row in joint.complications
                   if row["treatment"] == "amputation"]  # fmt: skip
        amputation = min(treated, default=None)
    return death, amputation


def first(
    events: Iterable[tuple[int | None, str]], last: int | None
) -> tuple[int | None, str | None]:
    """Give the first of the events; on one day the one named first; else censored at `last`."""
    dated = [(day, place, state) for place, (day, state) in enumerate(events) if day is not None]
    if dated:
        day, _, state = min(dated)
        return day, state
    return (last, "censored") if last is not None else (None, None)


def by(horizon: int, day: int, state: str | None, event: str, free: int | None) -> bool | None:
    """Yes if found by D; no if seen free up to 28 days before, or something else came first."""
    if state == event and day <= horizon:
        return True
    if state not in (event, "censored") and day <= horizon:
        return False
    return False if free is not None and free >= horizon - 28 else None


def last_before(days: Iterable[int], day: int, *, found: bool) -> int | None:
    """Give the last of the days before the end; the end too, unless the event was found then."""
    return max((item for item in days if item < day or (item == day and not found)), default=None)
