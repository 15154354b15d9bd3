"""Arrays of one network put into rows: rechecks, complications and revisions."""

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.arrays import FloatArray
from pipeline.simulate.baseline import DIRECTIONS, Baseline
from pipeline.simulate.course import Found
from pipeline.simulate.draws import IntArray, chance, labels
from pipeline.simulate.ending import BY_RELUXATION, Contacts
from pipeline.simulate.technique import Technique
from pipeline.simulate.troubles import (
    DEEP,
    DISPLACEMENT,
    FRACTURE,
    IMPLANT_TYPES,
    IRRITATION,
    LAMENESS,
    NONE,
    OPPOSITE,
    OTHER_TYPES,
    SEROMA,
    SUPERFICIAL,
    Troubles,
)  # fmt: skip
from pipeline.simulate.visits import MODES, TELEPHONE

REVISION_REASONS = (
    "tuberosity_fracture", "other", "implant_migration", "implant_breakage",
    "implant_breakage", "other", "implant_irritation", "implant_breakage",
)  # fmt: skip
Rows = list[dict[str, object]]


def recheck_rows(
    rng: np.random.Generator, keys: pl.DataFrame, *, contacts: Contacts, found: Found,
    opposite: FloatArray, baseline: Baseline, troubles: Troubles, technique: Technique,
) -> pl.DataFrame:  # fmt: skip
    """One row per contact, ordered by stifle and day."""
    order = np.argsort(contacts.day, axis=1, kind="stable")
    day = np.take_along_axis(contacts.day, order, axis=1)
    mode = np.take_along_axis(contacts.mode, order, axis=1)
    stifle, place = np.nonzero(np.isfinite(day))
    when, how = day[stifle, place], mode[stifle, place]
    grade, direction = _palpated(
        when, stifle, found=found, opposite=opposite, baseline=baseline, troubles=troubles
    )
    phone = how == TELEPHONE
    trouble = (grade > 0) | (when == found.implant[stifle])
    grade = np.where(phone, 0, grade)
    lameness = rng.poisson(np.exp(0.3 - 0.006 * np.minimum(when, 250)) + 0.9 * trouble).clip(0, 3)
    imaged = ~phone & (rng.random(len(when)) < np.where(when < 120, 0.85, 0.45))
    healing = _healing(rng, when, stifle, found=found)
    blank = phone | ~imaged | ~technique.ttt[stifle]
    return keys.select("clinic_id", "local_stifle")[stifle].with_columns(
        recheck_day=pl.Series(when.astype(np.int64)),
        recheck_mode=pl.Series(labels(how, MODES)),
        unscheduled=pl.Series(order[stifle, place] >= BY_RELUXATION),
        patella_grade=pl.Series(grade),
        patella_direction=pl.Series(labels(direction, DIRECTIONS)),
        lameness_score=pl.Series(lameness),
        radiographs_taken=pl.Series(imaged),
        osteotomy_healing=pl.Series(healing),
    ).with_columns(
        patella_grade=pl.when(~pl.lit(pl.Series(phone))).then("patella_grade"),
        patella_direction=pl.when(pl.lit(pl.Series(grade > 0))).then("patella_direction"),
        osteotomy_healing=pl.when(~pl.lit(pl.Series(blank))).then("osteotomy_healing"),
    )  # fmt: skip


def _palpated(
    when: FloatArray, stifle: IntArray, *, found: Found, opposite: FloatArray,
    baseline: Baseline, troubles: Troubles,
) -> tuple[IntArray, IntArray]:  # fmt: skip
    luxated = (when >= found.reluxation[stifle]) & (when <= found.reluxation_revised[stifle])
    over = when >= opposite[stifle]
    grade = np.where(luxated, troubles.reluxation_grade[stifle], np.where(over, 1, 0))
    direction = baseline.direction[stifle]
    return grade, np.where(over & ~luxated, 1 - direction, direction)


def _healing(
    rng: np.random.Generator, when: FloatArray, stifle: IntArray, *, found: Found
) -> npt.NDArray[np.str_]:
    failed = found.implant_kind[stifle] <= DISPLACEMENT
    later = failed & np.isfinite(found.implant[stifle])
    stage = chance((when - 45) / 12 + rng.normal(0, 0.8, len(when)))
    word = np.where(stage > 0.62, "complete", np.where(stage > 0.12, "partial", "none"))
    word = np.where(later & (when < found.implant[stifle]) & (word == "complete"), "partial", word)
    return np.where(later & (when == found.implant[stifle]), "displaced", word)


def complication_rows(
    keys: pl.DataFrame, *, found: Found, opposite: FloatArray, troubles: Troubles
) -> pl.DataFrame:
    """One row per complication, numbered by day within the stifle."""
    rows: Rows = []
    for stifle in np.flatnonzero(np.isfinite(found.reluxation)):
        rows.append(_reluxation(int(stifle), found, troubles))
    for stifle in np.flatnonzero(np.isfinite(found.implant)):
        rows.append(_implant(int(stifle), found, troubles))
    apart = (troubles.other != NONE) & (troubles.other != OPPOSITE)
    inside = troubles.other_day < found.stop + (troubles.ends_by > 0)
    for stifle in np.flatnonzero(apart & inside):
        rows.append(_other(int(stifle), troubles))
    for stifle in np.flatnonzero(np.isfinite(opposite)):
        rows.append(_row(int(stifle), "opposite_luxation", opposite[stifle],
                         severity="minor", treatment="none"))  # fmt: skip
    return _numbered(rows, keys, by="detected_day", number="complication_no")


def revision_rows(keys: pl.DataFrame, *, found: Found, troubles: Troubles) -> pl.DataFrame:
    """One row per later operation, numbered by day within the stifle."""
    rows: Rows = []
    for stifle in range(len(keys)):
        kind = int(found.implant_kind[stifle])
        implant = found.implant_revised[stifle]
        relux = found.reluxation_revised[stifle]
        again: list[tuple[float, str]] = [
            (relux, "reluxation"),
            (implant, REVISION_REASONS[kind]),
            (found.planned_removal[stifle], "planned_removal"),
        ]
        rows.extend(
            {"stifle": stifle, "revision_day": int(day), "revision_reason": reason}
            for day, reason in again
            if np.isfinite(day)
        )
    return _numbered(rows, keys, by="revision_day", number="revision_no")


def _reluxation(stifle: int, found: Found, troubles: Troubles) -> dict[str, object]:
    operated = bool(np.isfinite(found.reluxation_revised[stifle]))
    rested = troubles.treats[stifle] < 0.4
    severity = "major_surgical" if operated else "minor"
    treatment = "revision_surgery" if operated else "rest_or_bandage" if rested else "none"
    return _row(stifle, "reluxation", found.reluxation[stifle],
                severity=severity, treatment=treatment)  # fmt: skip


def _implant(stifle: int, found: Found, troubles: Troubles) -> dict[str, object]:
    kind = int(found.implant_kind[stifle])
    operated = bool(np.isfinite(found.implant_revised[stifle]))
    bone = kind in (FRACTURE, DISPLACEMENT)
    if operated:
        severity, treatment = "major_surgical", "revision_surgery" if bone else "implant_removal"
    elif kind == IRRITATION and troubles.treats[stifle] < 0.5:
        severity, treatment = "major_medical", "drug"
    else:
        severity, treatment = "minor", "rest_or_bandage" if bone else "none"
    return _row(stifle, IMPLANT_TYPES[kind], found.implant[stifle],
                severity=severity, treatment=treatment)  # fmt: skip


def _other(stifle: int, troubles: Troubles) -> dict[str, object]:
    kind, treated = int(troubles.other[stifle]), troubles.treats[stifle] < 0.3
    severity, treatment = "minor", "none"
    if kind in (SUPERFICIAL, DEEP):
        severity, treatment = "major_medical", "drug"
    elif kind in (SEROMA, LAMENESS) and treated:
        severity, treatment = "major_medical", "aspiration" if kind == SEROMA else "drug"
    if troubles.ends_by[stifle]:
        severity = "catastrophic"
        treatment = ("amputation", "euthanasia")[int(troubles.ends_by[stifle]) - 1]
    depth = {SUPERFICIAL: "superficial", DEEP: "deep"}.get(kind)
    return _row(stifle, str(OTHER_TYPES[kind]), troubles.other_day[stifle],
                severity=severity, treatment=treatment) | {"ssi_depth": depth}  # fmt: skip


def _row(stifle: int, kind: str, day: float, *, severity: str, treatment: str) -> dict[str, object]:
    return {"stifle": stifle, "complication_type": kind, "detected_day": int(day),
            "severity_class": severity, "treatment": treatment, "intraoperative": False,
            "ssi_depth": None}  # fmt: skip


def _numbered(rows: Rows, keys: pl.DataFrame, *, by: str, number: str) -> pl.DataFrame:
    if not rows:
        return pl.DataFrame(schema={"clinic_id": pl.String, "local_stifle": pl.String})
    frame = pl.DataFrame(rows, infer_schema_length=None).sort("stifle", by, maintain_order=True)
    placed = pl.concat([keys.select("clinic_id", "local_stifle")[frame["stifle"]], frame],
                       how="horizontal")  # fmt: skip
    return placed.with_columns(pl.int_range(1, pl.len() + 1).over("stifle").alias(number)).drop(
        "stifle"
    )
