"""The second computation of major complications, infections and counts: sections 1.2 and 1.4."""

from pipeline.study import Outcomes
from tests.pipeline.second_implants import implanted
from tests.pipeline.second_joint import Joint, Row, earliest, ends, first, latest, named

CLASSES = ("minor", "major_medical", "major_surgical", "catastrophic")
OPERATED = ("implant_removal", "revision_surgery", "amputation")


def second_other(joint: Joint, rules: Outcomes) -> Row:
    """Compute major complications, infections and counts; what is held is unknown."""
    held = bool(
        joint.held
        & {
            "outcome:all",
            "intraoperative",
            "severity_class",
            "treatment",
            "death_cause",
            "ssi_depth",
        }
    )
    result = _major(joint) | _infection(joint, rules)
    if held:
        result = dict.fromkeys(result)
    told = [
        row["severity_class"]
        for row in joint.complications
        if not row["intraoperative"] and (row["detected_day"] is None or row["detected_day"] >= 1)
    ]
    classed = [item for item in told if item is not None]
    worst = max(classed, key=CLASSES.index) if classed else None
    return result | {
        "major_held": held,
        "n_complications": len(told),
        "worst_severity": worst if told else "none",
        "last_contact_day": latest(joint.known_days),
    }


def second_recurrent(joint: Joint) -> list[tuple[object, ...]]:
    """Give the stretches between complications: start, stop, complication, how many, worst."""
    end = earliest([latest(joint.known_days), *ends(joint)])
    told: dict[int, list[Row]] = {}
    for row in joint.after_surgery:
        if end is not None and row["detected_day"] <= end:
            told.setdefault(row["detected_day"], []).append(row)
    stretches: list[tuple[object, ...]] = []
    start = 0
    for day in sorted(told):
        classed = [row["severity_class"] for row in told[day] if row["severity_class"]]
        worst = max(classed, key=CLASSES.index) if classed else None
        stretches.append((start, day, True, len(told[day]), worst))
        start = day
    if end is not None and end > start:
        stretches.append((start, end, False, 0, None))
    return stretches


def _major(joint: Joint) -> Row:
    last = latest(joint.known_days)
    if (last or 0) < 1:
        return named("major_cook", (None, None)) | named("major_revision", (None, None))
    death, amputation = ends(joint)
    by_treatment: list[int | None] = []
    by_operation: list[int | None] = []
    for row in joint.after_surgery:
        if row["severity_class"] in CLASSES[1:]:
            by_treatment.append(row["detected_day"])
        operated = row["severity_class"] == "catastrophic" and row["treatment"] in OPERATED
        if row["severity_class"] == "major_surgical" or operated:
            by_operation.append(row["detected_day"])
    revisions = [
        row["revision_day"]
        for row in joint.revisions
        if row["revision_reason"] not in (None, "planned_removal")
        and (row["revision_day"] or 0) >= 1
    ]
    related = joint.death_cause in ("stifle_related", "anaesthesia_related")
    stops = [(amputation, "amputation"), (death, "death")]
    cook = earliest([*by_treatment, *revisions, death if related else None])
    event = "major_complication"
    return named("major_cook", first([(cook, event), *stops], last)) | named(
        "major_revision", first([(earliest([*by_operation, *revisions]), event), *stops], last)
    )


def _infection(joint: Joint, rules: Outcomes) -> Row:
    done = joint.procedure
    with_implant = (
        implanted(joint) is True
        or bool(joint.implants)
        or done.get("femoral_osteotomy") not in (None, "none")
        or done.get("sulcoplasty_type") == "groove_replacement"
        or done.get("cruciate_procedure") not in (None, "none")
    )
    infected = [
        (row["detected_day"], _deep(row))
        for row in joint.after_surgery
        if row["complication_type"] in ("surgical_site_infection", "septic_arthritis")
    ]
    stop, last = earliest(ends(joint)), latest(joint.known_days)
    result: Row = {}
    for window in (30, 90, 365):
        slack = {30: 0, 90: min(rules.window_days, 60), 365: rules.window_days}[window]
        late = [deep for day, deep in infected if 30 < day <= window and with_implant]
        if any(day <= 30 for day, _ in infected) or True in late:
            found = True
        elif None in late:
            found = None
        else:
            looked = last is not None and last >= window - slack
            found = False if looked or (stop is not None and stop <= window) else None
        result[f"ssi_{window}"] = found
    return result


def _deep(row: Row) -> bool | None:
    if row["ssi_depth"] is not None:
        return row["ssi_depth"] != "superficial"
    return True if row["complication_type"] == "septic_arthritis" else None
