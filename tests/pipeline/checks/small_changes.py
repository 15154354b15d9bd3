"""Small changes to the clean study, from which the cases of the rules are made."""

from collections.abc import Mapping
from datetime import date
from typing import Any

Change = Mapping[str, Mapping[int, Mapping[str, Any]]]
LEFT, RIGHT, OTHER = "A-1:left", "A-1:right", "A-2:left"
AT = {"clinic_id": "north", "local_stifle": OTHER}
VISIT = AT | {"recheck_mode": "operating_clinic", "patella_grade": 0, "lameness_score": 0}
EVENT = AT | {"complication_no": 2, "severity_class": "minor", "treatment": "none"}
REVISION = AT | {"revision_no": 1, "revision_day": 100, "revision_reason": "reluxation"}
IMPLANT = AT | {"implant_no": 1, "implant_type": "k_wire"}
IMAGE = AT | {"image_id": "I1", "image_day": -3, "time_point": "preoperative", "value": 20.0,
              "measure": "tibial_depth_mm", "rater_id": "R1", "read_no": 1,
              "calibrated": True}  # fmt: skip
NO_TTT = {
    "ttt_done": False, "ttt_direction": None, "osteotomy_depth_mm": None, "tibial_depth_mm": None,
    "distal_bridge": None, "ttt_fixation": None, "kwire_count": None, "kwire_arrangement": None,
    "kwire_diameter_mm": None, "tension_band_done": None, "tb_pattern": None,
    "tb_wire_diameter_mm": None,
}  # fmt: skip
NO_BAND = {"tension_band_done": False, "ttt_fixation": "k_wire", "tb_pattern": None,
           "tb_wire_diameter_mm": None}  # fmt: skip
NO_GROOVE = {"sulcoplasty_type": "none", "groove_depth_post_mm": None}
MAJOR = {"severity_class": "major_surgical", "treatment": "revision_surgery", "detected_day": 90}
DIED = {"end_status": "died", "end_of_followup_day": 100}


def stifle(**values: object) -> Change:
    return {"stifles": {2: values}}


def procedure(**values: object) -> Change:
    return {"procedures": {2: values}}


def event(**values: object) -> dict[str, Any]:
    return {"more": {"complications": [EVENT | values]}}


def visit(**values: object) -> dict[str, Any]:
    return {"more": {"rechecks": [VISIT | values]}}


def revision(**values: object) -> dict[str, Any]:
    led_to_it = EVENT | MAJOR | {"complication_type": "reluxation"}
    return {"more": {"revisions": [REVISION | values], "complications": [led_to_it]}}


def again(**values: object) -> dict[str, Any]:
    """Add another row for the joint of A-2."""
    row = AT | {"local_animal": "A-2", "side": "left", "surgery_date": date(2022, 5, 20),
                "age_months": 30, "weight_kg": 12.0, "luxation_direction": "medial",
                "grade_preop": 2, "cruciate_status": "intact", "end_status": "discharged",
                "previous_stifle_surgery": "none", "end_of_followup_day": 400}  # fmt: skip
    return {"more": {"stifles": [row | values]}}


def twin(clinic: str, **values: object) -> dict[str, Any]:
    """Add an animal like A-2 with a joint like its own, under another code."""
    row = again()["more"]["stifles"][0] | {"clinic_id": clinic, "local_animal": "B-9",
                                           "local_stifle": "B-9:left"} | values  # fmt: skip
    animal = {"clinic_id": clinic, "local_animal": "B-9", "species": "dog", "breed": "Pug",
              "sex_neuter": "male_neutered"}  # fmt: skip
    clinics = [{"clinic_id": "south", "clinic_type": "referral", "dates_shifted": False,
                "accrual_start": date(2015, 1, 1), "accrual_end": date(2023, 12, 31),
                "data_lock_date": date(2024, 6, 30), "case_finding": "theatre_log",
                "n_screened": 9}] if clinic == "south" else []  # fmt: skip
    return {"more": {"stifles": [row], "animals": [animal], "clinics": clinics}}


def token(value: str) -> dict[str, Any]:
    """Give A-2 and an animal of another clinic a link key."""
    study = twin("south", surgery_date=date(2022, 9, 1))
    study["more"]["animals"][0] |= {"link_token": value}
    return study | {"changes": {"animals": {1: {"link_token": "k1"}}}}


def animal_again(**values: object) -> dict[str, Any]:
    """Add another row for the animal A-2."""
    row = {"clinic_id": "north", "local_animal": "A-2", "species": "dog", "breed": "Pug",
           "sex_neuter": "male_neutered"}  # fmt: skip
    return {"more": {"animals": [row | values]}}


def images(*readings: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """Add readings of images of A-2 by changes to a first one."""
    return {"more": {"measurements": [IMAGE | row for row in readings]}, **changes}


def many(count: int, **values: object) -> dict[str, Any]:
    """Add that many operated dogs with two rechecks each, all stable."""
    animals, stifles, rechecks = [], [], []
    for number in range(count):
        code = f"M-{number}"
        joint = {"clinic_id": "north", "local_stifle": f"{code}:left"}
        animals.append({"clinic_id": "north", "local_animal": code, "species": "dog",
                        "breed": f"Breed {number}", "sex_neuter": "male_entire"})  # fmt: skip
        stifles.append(again()["more"]["stifles"][0] | joint | {"local_animal": code} | values)
        rechecks.append(VISIT | joint | {"recheck_day": 50})
    return {"more": {"animals": animals, "stifles": stifles, "rechecks": rechecks}}


def dates(*texts: str) -> dict[str, Any]:
    """Add dogs with these texts as day of surgery."""
    study = many(len(texts))
    raw = {f"north/stifles/{place + 4}/surgery_date": text for place, text in enumerate(texts)}
    return study | {"raw": raw}
