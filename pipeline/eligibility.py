"""The protocol's steps, one after another: who stays, and at which step the others left."""

from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

from pipeline.study import Eligibility
from shared.errors import PlanError, nearest

# What the statements over `joints` ask of a stifle: eligibility and surgeon_cases.
JUDGED_BY = (
    "clinic_id", "surgeon_id", "species", "luxation_direction", "grade_preop", "aetiology",
    "shifted", "surgery_year", "surgery_date", "accrual_start", "accrual_end", "sulcoplasty_type",
    "ttt_done", "femoral_osteotomy", "medial_release", "lateral_imbrication",
    "antirotational_suture", "previous_stifle_surgery", "cruciate_procedure",
)  # fmt: skip
GRADES = {1: "I", 2: "II", 3: "III", 4: "IV"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step: its name, what stays, and why a stifle leaves, in words."""

    name: str
    label: str
    why: str


def eligibility_steps(switches: Eligibility) -> tuple[Step, ...]:
    """List the steps of a protocol in their fixed order; the study's own come last."""
    species = _or(f"{name}s" for name in switches.species)
    grades = _or(GRADES[grade] for grade in sorted(switches.grades))
    direction = _or(switches.direction)
    done = _or(name.replace("ttt", "tuberosity transposition").replace("_", " ")
               for name in switches.procedures)  # fmt: skip
    earlier = _or(name for name in switches.earlier_surgery if name != "patellar")
    earlier = earlier.replace("none", "disqualifying")
    steps = [
        ("species", species.capitalize(), "another species, or not recorded"),
        ("direction", f"Luxation {direction}", "another direction, or not recorded"),
        ("grade", f"Grade {grades} before surgery", "another grade, or not recorded"),
        ("accrual", "Operated in the accrual window", "operated outside the window searched"),
        ("procedure", f"At least one of: {done}", "none of these recorded as done"),
        ("first_surgery", "First patellar surgery on the joint"
         if "patellar" in switches.earlier_surgery else "Earlier patellar surgery or none",
         "earlier patellar surgery"),
        ("other_surgery", f"No earlier {earlier} surgery", "after other surgery of the joint"),
        ("cruciate_procedure", "Cruciate operation as the protocol allows",
         "concurrent cruciate operation with implants"),
        ("groove_replacement", "Groove as the protocol allows", "groove replacement"),
    ]  # fmt: skip
    steps += [(f"exclude_{place}", f"Not: {item.label}", item.label)
              for place, item in enumerate(switches.exclude, start=1)]  # fmt: skip
    steps += [(f"recorded_{name}", f"Recorded: {name}", f"{name} not recorded")
              for name in switches.recorded]  # fmt: skip
    return tuple(Step(name=name, label=label, why=why) for name, label, why in steps)


def parameters(switches: Eligibility) -> dict[str, object]:
    """Give the parameters of ``sql/eligibility.sql``."""
    return {
        "species": list(switches.species),
        "direction": list(switches.direction),
        "grades": list(switches.grades),
        "accrual_start": switches.accrual_start,
        "accrual_end": switches.accrual_end,
        "procedures": list(switches.procedures),
        "earlier_surgery": list(switches.earlier_surgery) or [""],
        "cruciate_procedure": switches.cruciate_procedure,
        "groove_replacement": switches.groove_replacement,
    }


def left_at(passed: pl.DataFrame, joints: pl.DataFrame, switches: Eligibility) -> pl.Series:
    """Give each stifle the name of the first step it fails (one of an Enum); null if none.

    Parameters
    ----------
    passed
        One row per stifle: a Boolean column per step of the SQL.
    joints
        One row per stifle, in the same order, with the variables that the study's own exclusions
        name.

    Raises
    ------
    PlanError
        If the study excludes or asks by a variable that does not exist.
    """
    own = {f"exclude_{place}": _spared(joints, item.column, item.values)
           for place, item in enumerate(switches.exclude, start=1)}  # fmt: skip
    own |= {f"recorded_{name}": _known(joints, name).is_not_null() for name in switches.recorded}
    judged = passed.hstack(joints.select(**own))
    names = [step.name for step in eligibility_steps(switches)]
    steps = pl.Enum(names)
    failed = pl.coalesce(pl.when(~pl.col(name)).then(pl.lit(name, steps)) for name in names)
    return judged.select(left_at=failed).to_series()


def _spared(joints: pl.DataFrame, column: str, values: tuple[str, ...]) -> pl.Expr:
    text = _known(joints, column).cast(pl.String).is_in(values)
    return ~text.fill_null(value=False)


def _known(joints: pl.DataFrame, column: str) -> pl.Expr:
    if column not in joints.columns:
        raise PlanError(
            "study.toml, [eligibility]", f'there is no variable "{column}"',
            do=nearest(column, joints.columns),
        )  # fmt: skip
    return pl.col(column)


def _or(names: Iterable[str]) -> str:
    *first, last = list(names) or ["none"]
    return f"{', '.join(first)} or {last}" if first else last
