"""The second computation of reluxation: sections 1.1, 2 and 2.1 of the definitions."""

from collections.abc import Mapping

from pipeline.study import Outcomes
from tests.pipeline.second_joint import (
    Dated,
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

REMOVALS = ("implant_migration", "implant_breakage", "infection")


def second_reluxation(joint: Joint, rules: Outcomes, windows: Mapping[str, int]) -> Row:
    """Compute every reluxation outcome, as if nothing were held."""
    palpated = [row["recheck_day"] for row in joint.palpations]
    last = latest(palpated)
    found, possible = _found(joint, windows)
    any_day = earliest(row["day"] for row in found)
    at_risk = last is not None or any_day is not None
    led = latest([row["day"] for row in found + possible if row["revised"]])
    important = earliest(
        row["day"] for row in found if row["important"] or (led is not None and row["day"] <= led)
    )
    revised = earliest(row["day"] for row in found if led is not None and row["day"] <= led)
    construct = _construct(joint, rules)
    death, amputation = ends(joint)
    near = [_near(day, last, rules.death_window_days) for day in (amputation, death)]
    seen = latest([last, any_day])

    def until(
        day: int | None, end: int | None, *, late: bool = False
    ) -> tuple[int | None, str | None]:
        others: list[Dated] = [(construct, "other_revision")] if at_risk else []
        deaths = (amputation, death) if late else near
        if at_risk or not late:
            others += [(deaths[0], "amputation"), (deaths[1], "death")]
        return first([(day, "reluxation"), *others], end)

    relux = until(any_day, last)
    stable = last_before(palpated, relux[0], found=relux[1] == "reluxation")
    result = (
        named("relux", relux)
        | named("relux", until(any_day, last, late=True), "_all_deaths")
        | named("relux_possible", until(earliest(row["day"] for row in found + possible), last))
        | named("relux_important", until(important, seen if at_risk else None))
        | named("relux_revised", until(revised, seen if at_risk else None))
        | _opposite(joint, rules, near, seen if at_risk else None)
        | _bounds(joint, relux, found, windows, stable)
    )
    for horizon in rules.horizons:
        result[f"relux_by_{horizon}"] = by(horizon, relux, "reluxation", stable, rules.window_days)
    held = bool(joint.held & {"outcome:all", "intraoperative", "outcome:reluxation", "detected_by"})
    bounds = with_held_bounds(
        "relux", "reluxation", relux, stable, held=held, able=True, last=latest(joint.known_days)
    )
    if held:
        result = dict.fromkeys(result)
    open_ = {"relux_held": held, "last_adequate_day": last, "open_state": relux[1]}
    return result | bounds | open_


def _found(joint: Joint, windows: Mapping[str, int]) -> tuple[list[Row], list[Row]]:
    """Give the findings of reluxation by veterinarians, and what only an owner reported."""
    original = joint.stifle["luxation_direction"]
    found: list[Row] = []
    possible: list[Row] = []
    for row in joint.palpations:
        this_way = original in (None, "bidirectional") or row["patella_direction"] in (
            None,
            "bidirectional",
            original,
        )
        if row["patella_grade"] >= 1 and this_way:
            matters = row["patella_grade"] >= 2 or (row["lameness_score"] or 0) > 0
            found.append(
                {
                    "day": row["recheck_day"],
                    "important": matters,
                    "revised": False,
                    "end": row["recheck_day"] + windows.get(row["row_id"], 0),
                    "negative": None,
                }
            )
    for row in joint.after_surgery:
        if row["complication_type"] == "reluxation":
            operated = row["treatment"] == "revision_surgery"
            told = {
                "day": row["detected_day"],
                "important": operated,
                "revised": operated,
                "end": row["detected_day"] + windows.get(row["row_id"], 0),
                "negative": row["last_negative_day"],
            }
            (possible if row["detected_by"] == "owner_report" else found).append(told)
    for row in joint.revisions:
        if row["revision_reason"] == "reluxation" and (row["revision_day"] or 0) >= 1:
            found.append(
                {
                    "day": row["revision_day"],
                    "important": True,
                    "revised": True,
                    "end": row["revision_day"] + row["window"],
                    "negative": None,
                }
            )
    return found, possible


def _construct(joint: Joint, rules: Outcomes, *, but: str = "") -> int | None:
    """First revision for another reason that changes the construct (section 2)."""
    union = earliest(
        row["recheck_day"] for row in joint.rechecks if row["osteotomy_healing"] == "complete"
    )
    days: list[int] = []
    for row in joint.revisions:
        day, reason = row["revision_day"], row["revision_reason"]
        if day is None or reason not in rules.changes_construct or reason == but:
            continue
        if not (reason in REMOVALS and union is not None and union <= day):
            days.append(day)
    return earliest(days)


def _near(day: int | None, last: int | None, window: int) -> int | None:
    return day if day is not None and last is not None and day <= last + window else None


def _opposite(joint: Joint, rules: Outcomes, near: list[int | None], seen: int | None) -> Row:
    original = joint.stifle["luxation_direction"]
    if original in (None, "bidirectional") or seen is None:
        return named("opposite", (None, None))
    days = [
        row["recheck_day"]
        for row in joint.palpations
        if row["patella_grade"] >= 1 and row["patella_direction"] not in (None, original)
    ]
    days += [
        row["detected_day"]
        for row in joint.after_surgery
        if row["complication_type"] == "opposite_luxation" and row["detected_by"] != "owner_report"
    ]
    days += joint.revised("opposite_luxation", first_day=1)
    changed = earliest(
        [_construct(joint, rules, but="opposite_luxation"), *joint.revised("reluxation")]
    )
    return named(
        "opposite",
        first(
            [
                (earliest(days), "opposite_luxation"),
                (changed, "other_revision"),
                (near[0], "amputation"),
                (near[1], "death"),
            ],
            seen,
        ),
    )


def _bounds(
    joint: Joint,
    relux: tuple[int | None, str | None],
    found: list[Row],
    windows: Mapping[str, int],
    stable: int | None,
) -> Row:
    day, state = relux
    if day is None:
        return {"relux_left": None, "relux_right": None}
    free = [
        row["recheck_day"] - windows.get(row["row_id"], 0)
        for row in joint.palpations
        if stable is not None and row["recheck_day"] <= stable
    ]
    if state != "reluxation":
        return {"relux_left": max([0, *free]), "relux_right": None}
    negative = [
        row["negative"]
        for row in found
        if row["day"] == day and row["negative"] is not None and row["negative"] < day
    ]
    return {
        "relux_left": max([0, *free, *negative]),
        "relux_right": min(row["end"] for row in found),
    }
