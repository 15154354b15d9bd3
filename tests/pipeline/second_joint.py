"""What the second computation of the cohort knows of one joint, and how an outcome ends."""

from collections.abc import Iterable
from typing import Any

Row = dict[str, Any]
Dated = tuple[int | None, str]
VETERINARIAN = ("operating_clinic", "other_veterinarian")


class Joint:
    """Everything recorded of one joint after its index operation, up to the data lock."""

    def __init__(self, index: Row, animal: Row, clinic: Row) -> None:
        self.stifle, self.animal, self.clinic = index, animal, clinic
        self.procedure: Row = {}
        self.death_cause: str | None = None
        self.end_day: int | None = index["end_of_followup_day"]
        self.end_status: str | None = index["end_status"]
        self.rechecks: list[Row] = []
        self.complications: list[Row] = []
        self.revisions: list[Row] = []
        self.implants: list[Row] = []
        self.held: set[str] = set()
        shifted = clinic["dates_shifted"]
        locked = clinic["data_lock_date"]
        self.lock: int | None = (
            index["lock_day"]
            if shifted
            else (locked - index["surgery_date"]).days
            if locked
            else None
        )

    def locked(self) -> None:
        """Forget what came after the data lock; an implant taken out after it is still in."""
        for rows, day in (
            (self.rechecks, "recheck_day"),
            (self.complications, "detected_day"),
            (self.revisions, "revision_day"),
        ):
            rows[:] = [row for row in rows if self._seen(row[day])]
        self.implants = [
            row
            if self._seen(row["implant_removed_day"])
            else row | {"implant_removed_day": None, "implant_removal_reason": None}
            for row in self.implants
        ]

    def _seen(self, day: int | None) -> bool:
        return day is None or self.lock is None or day <= self.lock

    @property
    def palpations(self) -> list[Row]:
        """Adequate rechecks: palpated by a veterinarian after day 0."""
        return [
            row
            for row in self.rechecks
            if row["recheck_mode"] in VETERINARIAN
            and row["patella_grade"] is not None
            and (row["recheck_day"] or 0) >= 1
        ]

    @property
    def known_days(self) -> list[int]:
        """All days on which anything was known of the joint."""
        days = [row["recheck_day"] for row in self.rechecks]
        days += [row["detected_day"] for row in self.complications]
        days += [row["revision_day"] for row in self.revisions]
        days += [row["implant_removed_day"] for row in self.implants]
        if self.end_day is not None:
            days.append(self.end_day if self.lock is None else min(self.end_day, self.lock))
        return [day for day in days if day is not None]

    @property
    def after_surgery(self) -> list[Row]:
        """Complications with a day after day 0, not in theatre."""
        return [
            row
            for row in self.complications
            if not row["intraoperative"] and (row["detected_day"] or 0) >= 1
        ]

    def revised(self, *reasons: str, first_day: int = 0) -> list[int]:
        """Days of revisions for these reasons."""
        return [
            row["revision_day"]
            for row in self.revisions
            if row["revision_reason"] in reasons
            and row["revision_day"] is not None
            and row["revision_day"] >= first_day
        ]


def ends(joint: Joint) -> tuple[int | None, int | None]:
    """Days of death and of amputation, up to the data lock."""
    day, status = joint.end_day, joint.end_status
    treated = [
        row["detected_day"]
        for row in joint.complications
        if row["treatment"] == "amputation" and row["detected_day"] is not None
    ]
    amputation = day if status == "amputated" and day is not None else earliest(treated)
    death = day if status in ("died", "euthanised") else None
    lock = joint.lock
    return tuple(
        item if item is not None and (lock is None or item <= lock) else None
        for item in (death, amputation)
    )  # type: ignore[return-value]


def earliest(days: Iterable[int | None]) -> int | None:
    """Give the first of the days that are known."""
    return min((day for day in days if day is not None), default=None)


def latest(days: Iterable[int | None]) -> int | None:
    """Give the last of the days that are known."""
    return max((day for day in days if day is not None), default=None)


def first(events: Iterable[Dated], last: int | None) -> tuple[int | None, str | None]:
    """Give the first of the events; on one day the one named first; else censored at `last`."""
    dated = [(day, place, state) for place, (day, state) in enumerate(events) if day is not None]
    if dated:
        day, _, state = min(dated)
        return day, state
    return (last, "censored") if last is not None else (None, None)


def named(name: str, found: tuple[int | None, str | None], suffix: str = "") -> Row:
    """Name day and state of an outcome as the cohort does."""
    return {f"{name}_day{suffix}": found[0], f"{name}_state{suffix}": found[1]}


def by(
    horizon: int, found: tuple[int | None, str | None], event: str, free: int | None, window: int
) -> bool | None:
    """Yes if found by D; no if seen free up to the window before, or something else came first."""
    day, state = found
    if day is None:
        return None
    if state == event and day <= horizon:
        return True
    if state not in (event, "censored") and day <= horizon:
        return False
    return False if free is not None and free >= horizon - window else None


def last_before(days: Iterable[int], day: int | None, *, found: bool) -> int | None:
    """Give the last of the days before the end; the end too, unless the event was found then."""
    if day is None:
        return None
    return max((item for item in days if item < day or (item == day and not found)), default=None)


def with_held_bounds(
    name: str,
    event: str,
    found: tuple[int | None, str | None],
    free: int | None,
    *,
    held: bool,
    last: int | None,
    able: bool,
) -> Row:
    """What the outcome is if all held are events, and if none is."""
    day, state = found
    if not held:
        return named(name, found, "_held_event") | named(name, found, "_held_free")
    worst = (day if day is not None else max(last or 1, 1), event) if able else found
    best = (free if free is not None else day, "censored") if state == event else found
    return named(name, worst, "_held_event") | named(name, best, "_held_free")
