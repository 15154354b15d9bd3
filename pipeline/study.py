"""study.toml -> frozen Study: the protocol's switches and the plan's raw analyses."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pipeline.study_contradictions import refuse_contradictions
from pipeline.study_keys import EXCLUSION, NOT_STATED, PROCEDURES, SECTIONS, TOP, Parser
from shared.errors import InputFileError, PlanError, nearest


@dataclass(frozen=True, slots=True, kw_only=True)
class Exclusion:
    """A stifle leaves where `column` has one of `values`; the flow diagram says `label`."""

    column: str
    values: tuple[str, ...]
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Eligibility:
    """Who belongs to the study; every field is one switch of study.toml, [eligibility].

    Attributes
    ----------
    species, direction, grades
        Values of species, luxation_direction and grade_preop that are in.
    accrual_start, accrual_end
        First and last day of surgery; None: each clinic's own search window only.
    procedures
        At least one of these was done.
    earlier_surgery
        Kinds of earlier surgery on the joint, outside the study, that are out.
    cruciate_procedure
        A concurrent one other than an extracapsular suture: "out_of_implant_outcomes" (the
        hardware is shared), "out" or "in".
    groove_replacement
        Whether groove replacements are in.
    exclude, recorded
        The study's own exclusions; variables that must be recorded.
    set_b_from_day
        First day on which an adequate recheck brings a stifle into set B.
    """

    species: tuple[str, ...] = ("dog",)
    direction: tuple[str, ...] = ("medial",)
    grades: tuple[int, ...] = (2, 3, 4)
    accrual_start: date | None = None
    accrual_end: date | None = None
    procedures: tuple[str, ...] = PROCEDURES
    earlier_surgery: tuple[str, ...] = ("patellar", "cruciate", "fracture")
    cruciate_procedure: str = "out_of_implant_outcomes"
    groove_replacement: bool = False
    exclude: tuple[Exclusion, ...] = ()
    recorded: tuple[str, ...] = ()
    set_b_from_day: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcomes:
    """How outcomes are dated; days after surgery.

    Attributes
    ----------
    horizons
        Days D of the binary outcomes "by day D".
    window_days
        A stifle seen free of the event up to this many days before D counts as free by D.
    death_window_days
        A death counts as competing up to this many days after the last adequate recheck.
    complete_from_day
        First day of an adequate recheck that makes follow-up complete (sensitivity analysis).
    changes_construct
        Reasons of a revision that end the time at risk of reluxation as a competing event.
    """

    horizons: tuple[int, ...] = (91, 183, 365)
    window_days: int = 28
    death_window_days: int = 91
    complete_from_day: int = 28
    changes_construct: tuple[str, ...] = (
        "opposite_luxation", "implant_migration", "implant_breakage", "tuberosity_fracture",
        "infection", "ligament_rupture", "other",
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Which outcomes of clinics are compared, and the case mix they are adjusted for."""

    outcomes: tuple[str, ...] = ("relux", "implant")
    case_mix: tuple[str, ...] = ("grade_preop", "log_weight_kg", "age_months", "surgery_year")


@dataclass(frozen=True, slots=True, kw_only=True)
class Privacy:
    """Counts from 1 to below `small_cell` are hidden in what leaves the coordinator."""

    small_cell: int = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Statements:
    """What a paper must state; printed as given, or as "not stated"."""

    ethics: str = NOT_STATED
    consent: str = NOT_STATED
    agreement: str = NOT_STATED
    funding: str = NOT_STATED


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """A study as its folder describes it.

    `analyses` are the [[analysis]] blocks as written (``pipeline.plan.parse_analysis`` reads
    one); `raw` is the whole file, for the record of deviations.
    """

    title: str
    question: str
    seed: int
    codebook_version: str
    folder: Path
    eligibility: Eligibility
    outcomes: Outcomes
    comparison: Comparison
    privacy: Privacy
    statements: Statements
    analyses: tuple[Mapping[str, Any], ...]
    clinics: tuple[str, ...]
    raw: Mapping[str, Any] = field(repr=False)


def read_study(folder: Path) -> Study:
    """Read ``study.toml`` of a study folder; what is left out has the protocol's default.

    Raises
    ------
    InputFileError
        If the file is missing or is no TOML (the line is named).
    PlanError
        If a key is unknown, a value is of the wrong kind, or two switches contradict.
    """
    return study_of(_toml(folder / "study.toml"), folder)


def study_of(raw: Mapping[str, Any], folder: Path) -> Study:
    """Make a study of what its study.toml holds; errors as for ``read_study``."""
    path = folder / "study.toml"
    sections = {name: raw.get(name, {}) for name in SECTIONS}
    top = _parsed(str(path), {key: raw[key] for key in raw if key not in SECTIONS}, TOP, SECTIONS)
    if not top.get("title"):
        raise PlanError(str(path), "the study has no title", do='Add a line title = "…".')
    found = {name: _section(f"{path}, [{name}]", name, given) for name, given in sections.items()}
    eligibility, outcomes = _eligibility(path, found["eligibility"]), Outcomes(**found["outcomes"])
    refuse_contradictions(path, eligibility, outcomes)
    return Study(
        title=top["title"],
        question=top.get("question", NOT_STATED),
        seed=top.get("seed", 1),
        codebook_version=top.get("codebook_version", ""),
        folder=folder,
        eligibility=eligibility,
        outcomes=outcomes,
        comparison=Comparison(**found["comparison"]),
        privacy=Privacy(**found["privacy"]),
        statements=Statements(**found["statements"]),
        analyses=top.get("analysis", ()),
        clinics=_clinics(folder),
        raw=MappingProxyType(raw),
    )


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8-sig"))
    except (FileNotFoundError, NotADirectoryError):
        raise InputFileError(
            str(path), "there is no such file",
            do="Name a study folder, or make one with: sulca new my-study",
        ) from None  # fmt: skip
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputFileError(
            str(path), f"it is no valid TOML ({error})", do="Mend that line and run again."
        ) from error


def _clinics(folder: Path) -> tuple[str, ...]:
    mapped = {path.stem for path in (folder / "mappings").glob("*.toml")}
    sent = {path.name for path in (folder / "exports").glob("*") if path.is_dir()}
    return tuple(sorted(mapped | sent))


def _section(where: str, name: str, given: object) -> dict[str, Any]:
    if not isinstance(given, dict):
        raise PlanError(where, "it is no table", do=f"Write [{name}] on a line of its own.")
    return _parsed(where, given, SECTIONS[name])


def _parsed(
    where: str,
    given: Mapping[str, object],
    parsers: Mapping[str, Parser],
    also: Mapping[str, object] = MappingProxyType({}),
) -> dict[str, Any]:
    parsed: dict[str, Any] = {}
    for key, value in given.items():
        if key not in parsers:
            known = (*parsers, *also)
            raise PlanError(where, f'the key "{key}" is unknown', do=nearest(key, known))
        try:
            parsed[key] = parsers[key](value)
        except ValueError as error:
            raise PlanError(
                where, f'"{key}" must be {error}, got {value!r}', do="Correct it in study.toml."
            ) from None
    return parsed


def _eligibility(path: Path, found: dict[str, Any]) -> Eligibility:
    """Make the switches; each block of `exclude` becomes an Exclusion."""
    where = f"{path}, [[eligibility.exclude]]"
    blocks = [_parsed(where, block, EXCLUSION) for block in found.pop("exclude", ())]
    for block in blocks:
        for key in EXCLUSION:
            if not block.get(key):
                raise PlanError(where, f'"{key}" is missing or empty', do=f"Add {key} = …")
    return Eligibility(exclude=tuple(Exclusion(**block) for block in blocks), **found)
