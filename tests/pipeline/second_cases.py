"""The second computation of a surgeon's running case number, from its definition."""

from collections.abc import Mapping
from datetime import date

from tests.pipeline.second_joint import Joint


def second_cases(joints: Mapping[str, Joint], accrual_start: date | None) -> dict[str, int | None]:
    """Count, for each joint, its surgeon's index operations on earlier days of accrual; and it."""
    operated: dict[str, tuple[str, str, date]] = {}
    for name, joint in joints.items():
        surgeon, day = joint.procedure.get("surgeon_id"), joint.stifle["surgery_date"]
        starts = [start for start in (joint.clinic["accrual_start"], accrual_start) if start]
        if surgeon and not joint.clinic["dates_shifted"] and all(start <= day for start in starts):
            operated[name] = (joint.stifle["clinic_id"], surgeon, day)
    numbers: dict[str, int | None] = dict.fromkeys(joints)
    for name, (clinic, surgeon, day) in operated.items():
        own = [when for at, who, when in operated.values() if (at, who) == (clinic, surgeon)]
        numbers[name] = 1 + sum(when < day for when in own)
    return numbers
