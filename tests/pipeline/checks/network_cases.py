"""Cases of the rules across rows and clinics: rule, what breaks it, what does not."""

from datetime import date
from typing import Any

from tests.pipeline.checks.operation_cases import Case
from tests.pipeline.checks.small_changes import (
    LEFT,
    VISIT,
    Change,
    event,
    images,
    many,
    procedure,
    stifle,
    visit,
)

SEEN_LATE = {"complication_type": "implant_irritation", "detected_day": 395}
ANGLE = {"measure": "aldfa_deg", "value": 100.0}
LIGAMENT = {"measure": "ligament_patella_ratio", "value": 1.7, "calibrated": None}
SAME_SESSION = {"stifles": {1: {"surgery_date": date(2020, 3, 14)}}}


def _pugs(count: int, **values: object) -> dict[str, Any]:
    """Add grown pugs of 9 kg, like A-2 by breed, with an operation each; A-2 has these values."""
    study = many(count, weight_kg=9.0)
    for row in study["more"]["animals"]:
        row["breed"] = "Pug"
    return study | {"changes": stifle(**values)}


def _tibias(count: int, depth: float) -> dict[str, Any]:
    """Add operations of 12 kg dogs with a tibia of 24 mm; that of A-2 has this depth."""
    study = many(count, weight_kg=12.0)
    study["more"]["procedures"] = [
        {"clinic_id": "north", "local_stifle": row["local_stifle"], "tibial_depth_mm": 24.0}
        for row in study["more"]["stifles"]
    ]
    return study | {"changes": procedure(tibial_depth_mm=depth)}


def visits(*days: int) -> dict[str, Any]:
    """Add visits of A-2 on these days to the six of the clean study, moved to whole weeks."""
    moved = {place: {"recheck_day": 42 if place % 2 == 0 else 182} for place in range(6)}
    return {"changes": {"rechecks": moved},
            "more": {"rechecks": [VISIT | {"recheck_day": day} for day in days]}}  # fmt: skip


def _minutes(left: int, right: int, more: Change) -> dict[str, Any]:
    times = {0: {"surgery_minutes": left}, 1: {"surgery_minutes": right}}
    return {"changes": {"procedures": times, **more}}


def _numbers(first: int, last: int) -> dict[str, Any]:
    numbered = {0: {"surgeon_case_no": first}, 2: {"surgeon_case_no": last}}
    return {"changes": {"procedures": numbered}}


NETWORK_CASES: tuple[Case, ...] = (
    # A-1 was operated left on 14 March 2020 at 30 months, and right a year later.
    ("R12", {"changes": {"stifles": {1: {"age_months": 44}}}},
     {"changes": {"stifles": {1: {"age_months": 42.9}}}}),
    ("R12", {"changes": {"stifles": {0: {"age_months": 25}, 1: {"age_months": 24}}}},
     {"changes": {"stifles": {0: {"age_months": 24}, 1: {"age_months": 24}}}}),
    ("R21", visit(recheck_day=42, recheck_mode="telephone", patella_grade=None),
     visit(recheck_day=43, recheck_mode="telephone", patella_grade=None)),
    ("R22", visits(14, 84, 133, 364), visits(14, 84, 134, 363)),
    ("R22", visits(14, 84, 133, 364), visits(14, 84, 133)),
    ("R25", event(**SEEN_LATE) | {"changes": {"rechecks": {4: {"patella_grade": None},
                                                           5: {"recheck_day": 29}}}},
     event(**SEEN_LATE) | {"changes": {"rechecks": {4: {"patella_grade": None},
                                                    5: {"recheck_day": 30}}}}),
    ("R25", event(**SEEN_LATE, last_negative_day=29), event(**SEEN_LATE, last_negative_day=30)),
    ("R32", _pugs(4, weight_kg=19.0), _pugs(4, weight_kg=13.8)),
    # 6.4 kg, light for a pug, typed in pounds.
    ("R32", _pugs(4, weight_kg=14.1), _pugs(4, weight_kg=6.4)),
    ("R32", _pugs(4, weight_kg=4.1), _pugs(4, weight_kg=4.1, age_months=8)),
    ("R32", _pugs(4, weight_kg=19.0), _pugs(3, weight_kg=19.0)),
    ("R37", _pugs(4, weight_kg=30.0, bcs=5), _pugs(4, weight_kg=30.0, bcs=8)),
    ("R37", _pugs(4, weight_kg=30.0, bcs=5), _pugs(4, weight_kg=22.0, bcs=5)),
    ("R53", _tibias(4, 49.0), _tibias(4, 47.0)),
    ("R53", _tibias(4, 11.0), _tibias(4, 13.0)),
    ("R07", images({}, {}), images({}, {"read_no": 2})),  # an equal second reading is no copy
    ("R81", images({}, {"value": 21.0}), images({}, {"value": 21.0, "read_no": 2})),
    ("R81", images({}, {"local_stifle": LEFT, "rater_id": "R2"}), images({}, {"rater_id": "R2"})),
    # 20 and 24.4: apart by 4.4 with a mean of 22.2; 24.5 and 20: by 4.5 with a mean of 22.25.
    ("R82", images({}, {"rater_id": "R2", "value": 24.5}),
     images({}, {"rater_id": "R2", "value": 24.4})),
    ("R82", images(ANGLE, ANGLE | {"rater_id": "R2", "value": 106.0}),
     images(ANGLE, ANGLE | {"rater_id": "R2", "value": 105.0})),
    ("R82", images(LIGAMENT, LIGAMENT | {"rater_id": "R2", "value": 2.0}),
     images(LIGAMENT, LIGAMENT | {"rater_id": "R2", "value": 1.9})),
    ("R82", images({}, {"rater_id": "R2", "value": 30.0}),
     images({}, {"read_no": 2, "value": 30.0})),
    ("R83", images(ANGLE | {"value": 116.0}), images(ANGLE | {"value": 115.0})),
    ("R83", images({"calibrated": False}), images(LIGAMENT | {"calibrated": False})),
    # A-2's tibia is 24 mm deep for the surgeon: 15 percent over 20.87, under 28.23.
    ("R84", images({"value": 20.8}), images({"value": 20.9})),
    ("R84", images({"value": 28.3}), images({"value": 28.2})),
    ("R84", images({"value": 20.8}), images({"value": 20.8, "time_point": "recheck"})),
    ("R84", images({"measure": "osteotomy_depth_mm", "value": 6.0}),
     images({"measure": "osteotomy_depth_mm", "value": 7.0})),
    ("R65", _minutes(70, 70, SAME_SESSION), _minutes(70, 75, SAME_SESSION)),
    ("R65", _minutes(70, 70, SAME_SESSION), _minutes(70, 70, {})),
    ("R66", _numbers(12, 11), _numbers(11, 12)),
)  # fmt: skip
