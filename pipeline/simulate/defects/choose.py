"""Which rows can bear a defect, and dates gone wrong: words that the clinics' lists share."""

from collections.abc import Callable
from datetime import date, timedelta

from pipeline.simulate.casebook import Case
from pipeline.simulate.grid import Record

Where = Callable[[Record, Case], bool]


def anyone(row: Record, case: Case) -> bool:
    """Be true of every row."""
    return True


def alone(row: Record, case: Case) -> bool:
    """Be true of an animal with one operated stifle."""
    return case.facts["session_type_reported"] == "unilateral"


def same_session(row: Record, case: Case) -> bool:
    """Be true of an animal with both stifles operated on one day."""
    return case.facts["session_type_reported"] == "bilateral_same_session"


def says(column: str, *cells: object) -> Where:
    """Be true where a cell holds one of these."""
    return lambda row, case: row.get(column, "") in cells


def filled(column: str) -> Where:
    """Be true where a cell holds something that applies."""
    return lambda row, case: row.get(column, "") not in ("", "n/a", "N/A", "s.o.", "-", "N/P")


def both(*rules: Where) -> Where:
    """Be true where all are."""
    return lambda row, case: all(rule(row, case) for rule in rules)


def quiet(row: Record, case: Case) -> bool:
    """Be true where nothing went wrong, so that one defect breaks one rule."""
    return not case.complications and not case.revisions and len(case.rechecks) > 1


def dead(row: Record, case: Case) -> bool:
    """Be true where the animal is known to have died."""
    return case.facts["end_status"] in ("died", "euthanised")


def alive(row: Record, case: Case) -> bool:
    """Be true where it is not."""
    return not dead(row, case)


def early_event(case: Case) -> bool:
    """Be true of a lone early event that was not operated, with stable rechecks after it."""
    return (
        len(case.complications) == 1
        and not case.revisions
        and case.complications[0]["complication_type"] in ("seroma", "suture_reaction")
        and any(visit["patella_grade"] == 0 and visit["date"] > case.complications[0]["date"]
                for visit in case.rechecks)
    )  # fmt: skip


def swapped(day: date) -> date | None:
    """Swap day and month; None where that is no date or the same."""
    if day.day > 12 or day.day == day.month:
        return None
    return day.replace(month=day.day, day=day.month)


def years_off(day: date, years: int) -> date:
    """Mistype the year."""
    return (day - timedelta(days=1 if (day.month, day.day) == (2, 29) else 0)).replace(
        year=day.year + years
    )
