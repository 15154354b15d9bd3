"""A second computation of the cohort, in plain Python, from the written definitions.

It shares no code with the program and uses no SQL: dictionaries and loops, one joint at a time.
It knows dogs of unshifted clinics and the default protocol; it says what it computes and no more.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import Any

import polars as pl

from tests.pipeline.second_implants import second_implant
from tests.pipeline.second_joint import HORIZONS, Joint, Row, by, ends, first, last_before

VETERINARIAN = ("operating_clinic", "other_veterinarian")
CHANGES_CONSTRUCT = (
    "opposite_luxation", "implant_migration", "implant_breakage", "tuberosity_fracture",
    "infection", "ligament_rupture", "other",
)  # fmt: skip
REMOVALS = ("implant_migration", "implant_breakage", "infection")
STEPS = ("species", "direction", "grade", "accrual", "procedure", "first_surgery", "other_surgery",
         "cruciate_procedure", "groove_replacement")  # fmt: skip


def second_cohort(
    tables: Mapping[str, pl.DataFrame],
    holds: pl.DataFrame,
    windows: Mapping[str, int] | None = None,
) -> dict[str, Row]:
    """Compute the outcomes of every joint, by clinic_id:local_animal:side.

    `windows` holds the half widths of planned days by row_id.
    """
    held: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in holds.iter_rows(named=True):
        held[row["clinic_id"], row["local_stifle"]].add(row["target"])
    found: dict[str, Row] = {}
    for key, joint in _joints(tables).items():
        name = f"{key[0]}:{joint.stifle['local_animal']}:{joint.stifle['side']}"
        targets = held[key]
        unknown_relux = bool(targets & {"outcome:all", "outcome:reluxation"})
        unknown_implant = bool(targets & {"outcome:all", "outcome:implant"})
        found[name] = (
            {"left_at": _left_at(joint)}
            | _reluxation(joint, windows or {}, unknown=unknown_relux)
            | second_implant(joint, unknown=unknown_implant)
        )
    return found


def second_flow(found: Mapping[str, Row], clinic: str | None = None) -> list[int]:
    """Count the stifles that remain after each step, by clinic or in all."""
    left = [row["left_at"] for name, row in found.items()
            if clinic is None or name.split(":")[0] == clinic]  # fmt: skip
    remaining, counts = len(left), list[int]()
    for step in STEPS:
        remaining -= left.count(step)
        counts.append(remaining)
    return counts


def _joints(tables: Mapping[str, pl.DataFrame]) -> dict[tuple[str, str], Joint]:
    clinics = {row["clinic_id"]: row for row in _rows(tables["clinics"])}
    animals = {(row["clinic_id"], row["local_animal"]): row for row in _rows(tables["animals"])}
    procedures = {_key(row): row for row in _rows(tables["procedures"])}
    joints = {
        _key(row): Joint(
            row, animals[row["clinic_id"], row["local_animal"]],
            procedures.get(_key(row), defaultdict(lambda: None)), clinics[row["clinic_id"]],
        )
        for row in _rows(tables["stifles"])
    }  # fmt: skip
    for name, day in (("rechecks", "recheck_day"), ("complications", "detected_day"),
                      ("revisions", "revision_day")):  # fmt: skip
        for row in _rows(tables[name]):
            joint = joints.get(_key(row))
            if joint and row[day] is not None and row[day] <= joint.lock:
                getattr(joint, name).append(row)
    return joints


def _rows(frame: pl.DataFrame) -> Iterable[Row]:
    return frame.iter_rows(named=True)


def _key(row: Row) -> tuple[str, str]:
    return row["clinic_id"], row["local_stifle"]


def _left_at(joint: Joint) -> str | None:
    """Section 3 of the definitions, default switches."""
    stifle, procedure, clinic = joint.stifle, joint.procedure, joint.clinic
    if joint.animal["species"] != "dog":
        return "species"
    if stifle["luxation_direction"] != "medial":
        return "direction"
    if stifle["grade_preop"] not in (2, 3, 4):
        return "grade"
    if not clinic["accrual_start"] <= stifle["surgery_date"] <= clinic["accrual_end"]:
        return "accrual"
    done = (
        procedure["sulcoplasty_type"] not in (None, "none")
        or procedure["ttt_done"]
        or procedure["femoral_osteotomy"] not in (None, "none")
        or procedure["medial_release"] not in (None, "none")
        or procedure["lateral_imbrication"]
        or procedure["antirotational_suture"]
    )
    if not done:
        return "procedure"
    if stifle["previous_stifle_surgery"] == "patellar":
        return "first_surgery"
    earlier = stifle["previous_stifle_surgery"] in ("cruciate", "fracture")
    if earlier or stifle["aetiology"] == "after_other_stifle_surgery":
        return "other_surgery"
    return "groove_replacement" if procedure["sulcoplasty_type"] == "groove_replacement" else None


def _reluxation(joint: Joint, windows: Mapping[str, int], *, unknown: bool) -> Row:
    """Sections 1.1, 2 and 2.1."""
    palpations = [row for row in joint.rechecks if row["recheck_mode"] in VETERINARIAN
                  and row["patella_grade"] is not None and row["recheck_day"] >= 1]  # fmt: skip
    original = joint.stifle["luxation_direction"]
    luxated = [
        row for row in palpations
        if row["patella_grade"] >= 1 and (
            original in (None, "bidirectional")
            or row["patella_direction"] in (None, "bidirectional", original)
        )
    ]  # fmt: skip
    recorded = [
        row for row in joint.complications
        if row["complication_type"] == "reluxation" and row["detected_day"] >= 1
        and not row["intraoperative"] and row["detected_by"] != "owner_report"
    ]  # fmt: skip
    found = [(row["recheck_day"], row["row_id"]) for row in luxated]
    found += [(row["detected_day"], row["row_id"]) for row in recorded]
    found += [(row["revision_day"], row["row_id"]) for row in joint.revisions
              if row["revision_reason"] == "reluxation" and row["revision_day"] >= 1]  # fmt: skip
    days = [day for day, _ in found]
    last = max((row["recheck_day"] for row in palpations), default=None)
    if unknown or (last is None and not days):
        blank: Row = dict.fromkeys(("relux_day", "relux_state", "relux_left", "relux_right"))
        return blank | {f"relux_by_{day}": None for day in HORIZONS}
    death, amputation = (
        day if day is not None and last is not None and day - last <= 91 else None
        for day in ends(joint)
    )
    day, state = first(
        [(min(days, default=None), "reluxation"), (_construct(joint), "other_revision"),
         (amputation, "amputation"), (death, "death")],
        last,
    )  # fmt: skip
    assert day is not None
    looked_at = [row["recheck_day"] for row in palpations]
    stable = last_before(looked_at, day, found=state == "reluxation")
    free = [row for row in palpations if row["recheck_day"] <= (stable or 0)]
    left = max([0, *(row["recheck_day"] - windows.get(row["row_id"], 0) for row in free)])
    right = None
    if state == "reluxation":
        right = min(day + windows.get(row_id, 0) for day, row_id in found)
        negative = [row["last_negative_day"] for row in recorded if row["detected_day"] == day]
        left = max([left, *(item for item in negative if item is not None and item < day)])
    result: Row = {"relux_day": day, "relux_state": state, "relux_left": left,
                   "relux_right": right}  # fmt: skip
    for horizon in HORIZONS:
        result[f"relux_by_{horizon}"] = by(horizon, day, state, "reluxation", stable)
    return result


def _construct(joint: Joint) -> int | None:
    """First revision for another reason that changes the construct (section 2)."""
    union = min((row["recheck_day"] for row in joint.rechecks
                 if row["osteotomy_healing"] == "complete"), default=None)  # fmt: skip
    days: list[int] = []
    for row in joint.revisions:
        healed = union is not None and union <= row["revision_day"]
        only_removed = row["revision_reason"] in REMOVALS and healed
        if row["revision_reason"] in CHANGES_CONSTRUCT and not only_removed:
            days.append(row["revision_day"])
    return min(days, default=None)


def first_dates(tables: Mapping[str, pl.DataFrame]) -> dict[str, timedelta]:
    """Days from each animal's first operation, by clinic_id:local_animal:side."""
    first: dict[tuple[str, str], Any] = {}
    rows = list(_rows(tables["stifles"]))
    for row in rows:
        key = row["clinic_id"], row["local_animal"]
        first[key] = min(first.get(key, row["surgery_date"]), row["surgery_date"])
    waited: dict[str, timedelta] = {}
    for row in rows:
        name = f"{row['clinic_id']}:{row['local_animal']}:{row['side']}"
        waited[name] = row["surgery_date"] - first[row["clinic_id"], row["local_animal"]]
    return waited
