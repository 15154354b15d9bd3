"""The second computation of implant complications, for studies whose implants table is empty."""

from tests.pipeline.second_joint import HORIZONS, Joint, Row, by, ends, first, last_before

FAMILY = (
    "kwire_migration", "kwire_breakage", "wire_breakage", "wire_loosening",
    "screw_or_plate_failure", "tuberosity_fracture", "tuberosity_displacement",
    "implant_irritation",
)  # fmt: skip
IMPLANT_REVISIONS = (
    "implant_migration", "implant_breakage", "implant_irritation", "tuberosity_fracture",
)  # fmt: skip


def second_implant(joint: Joint, *, unknown: bool) -> Row:
    """Sections 1.3 and 2 of the definitions."""
    procedure = joint.procedure
    held_by_implant = (
        procedure["ttt_fixation"] in ("k_wire", "k_wire_tension_band", "screw", "plate",
                                      "spacer_pin", "wire_only")
        or (procedure["kwire_count"] or 0) > 0 or procedure["tension_band_done"]
    )  # fmt: skip
    shared = procedure["cruciate_procedure"] not in (None, "none", "extracapsular_suture")
    end = joint.stifle["end_of_followup_day"]
    known = [row["recheck_day"] for row in joint.rechecks]
    known += [row["detected_day"] for row in joint.complications]
    known += [row["revision_day"] for row in joint.revisions]
    known += [min(end, joint.lock)] if end is not None else []
    if (
        unknown
        or shared
        or not (procedure["ttt_done"] and held_by_implant)
        or max(known, default=0) < 1
    ):
        return {"implant_day": None, "implant_state": None} | {
            f"implant_by_{day}": None for day in HORIZONS
        }
    days = _implant_days(joint)
    planned = _revised(joint, "planned_removal")
    replaced = _revised(joint, "reluxation", "opposite_luxation")
    death, amputation = ends(joint)
    day, state = first(
        [(min(days, default=None), "implant_complication"), (planned, "planned_removal"),
         (replaced, "revision"), (amputation, "amputation"), (death, "death")],
        max(known),
    )  # fmt: skip
    assert day is not None
    free = last_before(known, day, found=state == "implant_complication")
    result: Row = {"implant_day": day, "implant_state": state}
    for horizon in HORIZONS:
        result[f"implant_by_{horizon}"] = by(horizon, day, state, "implant_complication", free)
    return result


def _revised(joint: Joint, *reasons: str) -> int | None:
    return min((row["revision_day"] for row in joint.revisions
                if row["revision_reason"] in reasons), default=None)  # fmt: skip


def _implant_days(joint: Joint) -> list[int]:
    femoral = joint.procedure["femoral_osteotomy"] not in (None, "none")
    screwed = joint.procedure["ttt_fixation"] in ("screw", "plate")
    after = [row for row in joint.complications
             if row["detected_day"] >= 1 and not row["intraoperative"]]  # fmt: skip
    days: list[int] = []
    coded: list[int] = []
    for row in after:
        kind, treatment = row["complication_type"], row["treatment"]
        of_femur = kind == "screw_or_plate_failure" and femoral and not screwed
        if (kind in FAMILY and not of_femur) or (
            kind == "other" and treatment == "implant_removal"
        ):
            days.append(row["detected_day"])
            coded.append(row["detected_day"])
        elif treatment in ("implant_removal", "revision_surgery"):
            coded.append(row["detected_day"])
    for row in joint.revisions:
        explained = any(day <= row["revision_day"] for day in coded)
        if (
            row["revision_reason"] in IMPLANT_REVISIONS
            and row["revision_day"] >= 1
            and not explained
        ):
            days.append(row["revision_day"])
    return days
