"""A second computation of the cohort, in plain Python, from the written definitions.

It shares no code with the program and uses no SQL: dictionaries and loops, one joint at a time.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.study import Eligibility, Study
from tests.pipeline.second_cases import second_cases
from tests.pipeline.second_implants import second_implant
from tests.pipeline.second_joint import Joint, Row
from tests.pipeline.second_linked import Operation, second_linked
from tests.pipeline.second_other import second_other, second_recurrent
from tests.pipeline.second_reluxation import second_reluxation

STEPS = (
    "species",
    "direction",
    "grade",
    "accrual",
    "procedure",
    "first_surgery",
    "other_surgery",
    "cruciate_procedure",
    "groove_replacement",
)
FUNCTION = ("full", "acceptable", "unacceptable")
Counts = tuple[int, int, int, int, int]


@dataclass(frozen=True)
class Second:
    """Each stifle's columns by stifle id, its animal and clinic, and every operation."""

    stifles: Mapping[str, Row]
    animals: Mapping[str, str]
    clinics: Mapping[str, str]
    operations: Sequence[Operation]
    stretches: Mapping[str, list[tuple[object, ...]]]


def second_cohort(
    tables: Mapping[str, pl.DataFrame],
    holds: pl.DataFrame,
    study: Study,
    windows: Mapping[str, int] | None = None,
) -> Second:
    """Compute every joint; `windows` holds the half widths of planned days by row_id."""
    windows = windows or {}
    joints, operations, animal_of = second_linked(tables, holds, windows)
    rules, switches = study.outcomes, study.eligibility
    sessions = _sessions(joints, animal_of)
    cases = second_cases(joints, switches.accrual_start)
    apart = switches.cruciate_procedure == "out_of_implant_outcomes"
    found: dict[str, Row] = {}
    for name, joint in joints.items():
        reluxation = second_reluxation(joint, rules, windows)
        row = {"left_at": _left_at(joint, switches)} | sessions[name] | reluxation
        row |= second_implant(joint, rules, shared_in=not apart) | second_other(joint, rules)
        row |= _follow_up(joint, rules.complete_from_day)
        row["surgeon_case_in_study"] = cases[name]
        found[name] = row | _sets(joint, row, row.pop("open_state"), switches)
    clinics = {name: joint.stifle["clinic_id"] for name, joint in joints.items()}
    stretches = {
        name: second_recurrent(joint)
        for name, joint in joints.items()
        if found[name]["set_a"] and not found[name]["major_held"]
    }
    return Second(found, animal_of, clinics, operations, stretches)


def second_flow(second: Second, clinic: str | None = None) -> list[Counts]:
    """Count each step: operations, animals, stifles; operations and stifles left there."""
    kinds = [kind for at, kind, _ in second.operations if clinic in (None, at)]
    remaining = [name for name in second.stifles if clinic in (None, second.clinics[name])]
    counts: list[Counts] = []
    n_operations = len(kinds)

    def count(left_operations: int, left_stifles: int) -> None:
        animals = len({second.animals[name] for name in remaining})
        counts.append((n_operations, animals, len(remaining), left_operations, left_stifles))

    count(0, 0)
    for kind in ("revision", "earlier"):
        n_operations -= kinds.count(kind)
        count(kinds.count(kind), 0)
    for step in STEPS:
        leaving = [name for name in remaining if second.stifles[name]["left_at"] == step]
        remaining = [name for name in remaining if second.stifles[name]["left_at"] != step]
        n_operations = len(remaining)
        count(len(leaving), len(leaving))
    return counts


def _left_at(joint: Joint, switches: Eligibility) -> str | None:
    """Section 3 of the definitions: the first step that a stifle does not pass."""
    stifle, done = joint.stifle, joint.procedure
    earlier = stifle["previous_stifle_surgery"]
    after_other = stifle["aetiology"] == "after_other_stifle_surgery" and bool(
        {"cruciate", "fracture"} & {*switches.earlier_surgery}
    )
    shared = done.get("cruciate_procedure") not in (None, "none", "extracapsular_suture")
    passed = (
        joint.animal["species"] in switches.species,
        stifle["luxation_direction"] in switches.direction,
        stifle["grade_preop"] in switches.grades,
        _in_accrual(joint, switches),
        any(kind in switches.procedures for kind in _done(done)),
        not (earlier == "patellar" and "patellar" in switches.earlier_surgery),
        not ((earlier != "patellar" and earlier in switches.earlier_surgery) or after_other),
        not (switches.cruciate_procedure == "out" and shared),
        switches.groove_replacement or done.get("sulcoplasty_type") != "groove_replacement",
    )
    return None if all(passed) else STEPS[passed.index(False)]


def _in_accrual(joint: Joint, switches: Eligibility) -> bool:
    starts = [day for day in (joint.clinic["accrual_start"], switches.accrual_start) if day]
    stops = [day for day in (joint.clinic["accrual_end"], switches.accrual_end) if day]
    operated = joint.stifle["surgery_date"]
    if joint.clinic["dates_shifted"]:
        year = joint.stifle["surgery_year"] or operated.year
        return all(day.year <= year for day in starts) and all(year <= day.year for day in stops)
    return all(day <= operated for day in starts) and all(operated <= day for day in stops)


def _done(done: Row) -> list[str]:
    found = [
        name
        for name, variable in (
            ("sulcoplasty", "sulcoplasty_type"),
            ("femoral_osteotomy", "femoral_osteotomy"),
            ("soft_tissue", "medial_release"),
        )
        if done.get(variable) not in (None, "none")
    ]
    found += ["ttt"] if done.get("ttt_done") else []
    soft = done.get("lateral_imbrication") or done.get("antirotational_suture")
    return found + (["soft_tissue"] if soft else [])


def _sessions(joints: Mapping[str, Joint], animal_of: Mapping[str, str]) -> dict[str, Row]:
    """Section 0 and design: one joint, both on one day, or on two; the earlier is the first."""
    of_animal: dict[str, list[tuple[object, ...]]] = defaultdict(list)

    def when(joint: Joint) -> tuple[object, ...]:
        date = joint.stifle["surgery_date"]
        return joint.stifle["surgery_year"] or date.year, date

    for name, joint in joints.items():
        of_animal[animal_of[name]].append(when(joint))
    made: dict[str, Row] = {}
    for name, joint in joints.items():
        days = of_animal[animal_of[name]]
        kind = "unilateral" if len(days) == 1 else "bilateral_staged"
        if len(days) == 2 and days[0] == days[1]:
            kind = "bilateral_same_session"
        made[name] = {"session_type": kind}
        if kind != "bilateral_same_session":
            made[name]["first_joint"] = when(joint) == min(days)  # type: ignore[type-var]
    return made


def _follow_up(joint: Joint, complete_from: int) -> Row:
    days = [row["recheck_day"] for row in joint.palpations]
    frames = {91: (1, 91), 183: (92, 183), 365: (184, 365)}
    seen = {
        f"adequate_{end}": any(low <= day <= high for day in days)
        for end, (low, high) in frames.items()
    }
    told = [
        (row["recheck_day"], FUNCTION.index(row["function_class"]))
        for row in joint.rechecks
        if row["function_class"] and (row["recheck_day"] or 0) >= 1
    ]
    day, worst = max(told, default=(None, None))
    return seen | {
        "complete_follow_up": any(day >= complete_from for day in days),
        "last_function_day": day,
        "last_function_class": None if worst is None else FUNCTION[worst],
    }


def _sets(joint: Joint, row: Row, state: str | None, switches: Eligibility) -> Row:
    """Sets A, B and D of section 3; C is A and the first joint. What is held stays in its set."""
    in_a, done = row["left_at"] is None, joint.procedure
    last = row["last_adequate_day"]
    followed = state is not None and (
        state != "censored" or (last is not None and last >= switches.set_b_from_day)
    )
    pinned = bool(done.get("ttt_done")) and done.get("ttt_fixation") in (
        "k_wire",
        "k_wire_tension_band",
    )
    shared = done.get("cruciate_procedure") not in (None, "none", "extracapsular_suture")
    out = switches.cruciate_procedure == "out_of_implant_outcomes" and shared
    sets = {"set_a": in_a, "set_b": in_a and followed, "set_d": in_a and pinned and not out}
    if "first_joint" in row:
        sets["set_c"] = in_a and row["first_joint"]
    return sets
