"""The second computation of implant complications: sections 1.3 and 2 of the definitions."""

from pipeline.study import Outcomes
from tests.pipeline.second_joint import (
    Joint,
    Row,
    by,
    earliest,
    ends,
    first,
    last_before,
    latest,
    named,
    with_held_bounds,
)

TUBEROSITY = ("tuberosity_fracture", "tuberosity_displacement")
HARDWARE = ("kwire_migration", "kwire_breakage", "wire_breakage", "wire_loosening")
OF_TUBEROSITY = ("k_wire", "tension_band_wire", "spacer_pin")
FIXATION = ("k_wire", "k_wire_tension_band", "screw", "plate", "spacer_pin", "wire_only")
PARTS = {
    "tuberosity": "tuberosity_failure",
    "hardware": "hardware_complication",
    "irritation": "implant_irritation",
}


def second_implant(joint: Joint, rules: Outcomes, *, shared_in: bool) -> Row:
    """Compute every implant outcome, as if nothing were held."""
    able = implanted(joint)
    last = latest(joint.known_days)
    held = bool(
        joint.held & {"outcome:all", "intraoperative", "outcome:implant", "implant_removal_reason"}
    )
    shared = joint.procedure.get("cruciate_procedure") not in (None, "none", "extracapsular_suture")
    at_risk = able is True and (last or 0) >= 1 and (shared_in or not shared)
    events = _events(joint) if at_risk else []
    stops = _stops(joint)

    def until(event: str, days: list[int]) -> tuple[int | None, str | None]:
        return first([(earliest(days), event), *stops], last) if at_risk else (None, None)

    every = until("implant_complication", [day for day, _ in events])
    free = last_before(joint.known_days, every[0], found=every[1] == "implant_complication")
    result = named("implant", every)
    for part, family in PARTS.items():
        result |= named(part, until(family, [day for day, kind in events if kind == family]))
    for horizon in rules.horizons:
        result[f"implant_by_{horizon}"] = by(
            horizon, every, "implant_complication", free, rules.window_days
        )
    bounds = with_held_bounds(
        "implant", "implant_complication", every, free, held=held, last=last, able=able is True
    )
    if held:
        result = dict.fromkeys(result)
    return result | bounds | {"implant_held": held, "at_risk_implant": able}


def pieces(joint: Joint) -> list[Row]:
    """Implants of the tuberosity: screws and plates only where they cannot be another bone's."""
    done = joint.procedure
    screwed = done.get("ttt_fixation") in ("screw", "plate")
    alone = done.get("femoral_osteotomy") == "none" and done.get("cruciate_procedure") in (
        None,
        "none",
        "extracapsular_suture",
    )
    return [
        row
        for row in joint.implants
        if row["implant_type"] in OF_TUBEROSITY
        or (row["implant_type"] in ("screw", "plate") and (screwed or alone))
    ]


def implanted(joint: Joint) -> bool | None:
    """Say whether the tuberosity was transposed and held by an implant; None if not known."""
    done = joint.procedure
    if done.get("ttt_done") is False:
        return False
    if done.get("ttt_done") is None:
        return None
    if (
        pieces(joint)
        or (done["kwire_count"] or 0) > 0
        or done["tension_band_done"]
        or done["ttt_fixation"] in FIXATION
    ):
        return True
    none_placed = done["kwire_count"] == 0 and done["tension_band_done"] is False
    return False if none_placed or done["ttt_fixation"] in ("none", "suture") else None


def _stops(joint: Joint) -> list[tuple[int | None, str]]:
    """What ends the time at risk: all implants out, a revision that replaces them, death."""
    own = pieces(joint)
    out = [row for row in own if row["implant_removed_day"] is not None]
    planned = earliest(joint.revised("planned_removal")) if not out else None
    replaced = joint.revised("reluxation", "opposite_luxation")
    if own and len(out) == len(own):
        last = max(out, key=lambda row: (row["implant_removed_day"], row["implant_no"]))
        if last["implant_removal_reason"] == "planned":
            planned = last["implant_removed_day"]
        else:
            replaced.append(last["implant_removed_day"])
    death, amputation = ends(joint)
    return [
        (planned, "planned_removal"),
        (earliest(replaced), "revision"),
        (amputation, "amputation"),
        (death, "death"),
    ]


def _events(joint: Joint) -> list[tuple[int, str]]:
    """Give day and family of each complication of an implant or of the tuberosity."""
    femoral = joint.procedure["femoral_osteotomy"] not in (None, "none")
    screwed = joint.procedure["ttt_fixation"] in ("screw", "plate")
    events: list[tuple[int, str]] = []
    explained: list[int] = []
    for row in joint.after_surgery:
        kind, treatment = row["complication_type"], row["treatment"]
        family = None
        if kind in TUBEROSITY:
            family = "tuberosity_failure"
        elif kind in HARDWARE or (kind == "screw_or_plate_failure" and (screwed or not femoral)):
            family = "hardware_complication"
        elif kind == "implant_irritation":
            family = kind
        elif kind == "other" and treatment == "implant_removal":
            family = "unplanned_removal"
        if family:
            events.append((row["detected_day"], family))
        if family or treatment in ("implant_removal", "revision_surgery"):
            explained.append(row["detected_day"])
    first_told = earliest(explained)
    uncoded = [*_removals(joint), *_revisions(joint)]
    return events + [
        (day, family) for day, family in uncoded if first_told is None or first_told > day
    ]


def _removals(joint: Joint) -> list[tuple[int, str]]:
    """Pieces taken out unplanned."""
    families = {
        "irritation": "implant_irritation",
        "other": "unplanned_removal",
        "migration": "hardware_complication",
        "breakage": "hardware_complication",
    }
    return [
        (row["implant_removed_day"], families[row["implant_removal_reason"]])
        for row in joint.implants
        if row["implant_type"] in OF_TUBEROSITY
        and (row["implant_removed_day"] or 0) >= 1
        and row["implant_removal_reason"] in families
    ]


def _revisions(joint: Joint) -> list[tuple[int, str]]:
    families = {
        "implant_migration": "hardware_complication",
        "implant_breakage": "hardware_complication",
        "implant_irritation": "implant_irritation",
        "tuberosity_fracture": "tuberosity_failure",
    }
    return [
        (row["revision_day"], families[row["revision_reason"]])
        for row in joint.revisions
        if row["revision_reason"] in families and (row["revision_day"] or 0) >= 1
    ]
