"""Rules made from the codebook itself: codes, limits, usual ranges, what must be filled."""

from collections.abc import Iterable, Mapping
from datetime import date

import polars as pl

from schemas.codebook import CANONICAL_TABLES, KEYS, Variable
from schemas.findings import Action
from schemas.rules.conditions import condition
from schemas.rules.rule import Rule

RUNNING_NUMBERS = frozenset({"implant_no", "complication_no", "revision_no", "read_no"})
# Without one of these a row has no place: key, side, date.
PLACE = frozenset(
    (table, name)
    for table, names in KEYS.items()
    for name in names
    if name != "recheck_mode" and name not in RUNNING_NUMBERS
) | {
    ("stifles", "local_animal"), ("stifles", "side"), ("stifles", "surgery_date"),
    ("complications", "detected_day"), ("revisions", "revision_day"),
}  # fmt: skip
# A blank here says something (not palpated) and holds nothing.
BLANK_HAS_MEANING = frozenset({("rechecks", "patella_grade")})
# Asked by a rule of its own, in better words.
ASKED_BY_RULE = frozenset({("stifles", "side"), ("animals", "death_cause")})
# What an unknown value leaves open besides itself.
OUTCOME_OF: Mapping[tuple[str, str], str] = {
    ("rechecks", "patella_grade"): "outcome:reluxation",
    ("rechecks", "patella_direction"): "outcome:reluxation",
    ("rechecks", "recheck_mode"): "outcome:reluxation",
    ("complications", "complication_type"): "outcome:all",
    ("revisions", "revision_reason"): "outcome:all",
    ("implants", "implant_removed_day"): "outcome:implant",
    ("stifles", "end_of_followup_day"): "outcome:all",
    ("stifles", "end_status"): "outcome:all",
}
CODEBOOK = "codebook"
IN_WORDS = {"day": "days", "month": "months", "min": "minutes", "year": "", "grade": "",
            "score": "", "class": "", "case": ""}  # fmt: skip


def declared_rules(codebook: Iterable[Variable]) -> tuple[Rule, ...]:
    """Make the rules C01 to C05 of every declared variable of the canonical tables."""
    declared = [item for item in codebook if item.table in CANONICAL_TABLES]
    known = {(item.table, item.name): item for item in declared}
    made: list[Rule | None] = []
    for item in declared:
        made += [_codes(item), _limits(item), _required(item), _required_when(item, known),
                 _usual(item)]  # fmt: skip
    return tuple(rule for rule in made if rule is not None)


def unknown_when_held(table: str, name: str) -> tuple[str, ...]:
    """Name what is unknown while this variable is: itself, and the outcome it decides."""
    outcome = OUTCOME_OF.get((table, name))
    return (name, outcome) if outcome else (name,)


def _codes(item: Variable) -> Rule | None:
    if not item.codes or item.kind == "bool" or item.limits or item.is_coded:
        return None  # of a category nothing but its codes is ever read (M01)
    column = pl.col(item.name).cast(pl.String)
    return _rule(
        item, "C01", "hold", column.is_in(list(item.codes)).not_(),
        says=f"{item.label}: this code is not known.",
        fix=f"Give one of: {_choices(item)}.",
        why="A code without a meaning cannot be analysed",
    )  # fmt: skip


def _limits(item: Variable) -> Rule | None:
    if not item.limits:
        return None
    low, high = (_number(item, text) for text in item.limits)
    return _rule(
        item, "C02", "hold", pl.col(item.name).is_between(low, high).not_(),
        says=f"{item.label} is outside what is possible ({_range(item, item.limits)}).",
        fix="Look the value up in the patient record, with its unit, and give the right one.",
        why="Impossible values are typing errors, other units or other columns",
    )  # fmt: skip


def _required(item: Variable) -> Rule | None:
    if item.required != "yes" or (item.table, item.name) in ASKED_BY_RULE:
        return None
    core = item.core in {"yes", "key"} and (item.table, item.name) not in BLANK_HAS_MEANING
    broken = pl.col(item.name).is_null()
    if (item.table, item.name) == ("stifles", "local_stifle"):  # then side or animal is asked
        broken = broken & pl.col("side").is_not_null() & pl.col("local_animal").is_not_null()
    return _rule(
        item, "C03", "hold" if core else "ask", broken,
        says=f"{item.label} is empty.", fix=_fill(item),
        why="The study needs this of every row",
    )  # fmt: skip


def _required_when(item: Variable, known: Mapping[tuple[str, str], Variable]) -> Rule | None:
    if item.required != "when" or (item.table, item.name) in ASKED_BY_RULE:
        return None
    asked = condition(item.required_when, known, table=item.table)
    core = item.core == "yes" and (item.table, item.name) not in BLANK_HAS_MEANING
    return _rule(
        item, "C04", "hold" if core else "ask", pl.col(item.name).is_null() & asked,
        says=f"{item.label} is empty, though the rest of the row asks for it.", fix=_fill(item),
        why=f"Needed when {item.required_when}",
    )  # fmt: skip


def _usual(item: Variable) -> Rule | None:
    if not item.usual:
        return None
    low, high = (_number(item, text) for text in item.usual)
    broken = pl.col(item.name).is_between(low, high).not_()
    if item.limits:
        lowest, highest = (_number(item, text) for text in item.limits)
        broken = broken & pl.col(item.name).is_between(lowest, highest)
    return _rule(
        item, "C05", "ask", broken,
        says=f"{item.label} is unusual (usual: {_range(item, item.usual)}).",
        fix='Check the value and its unit; if it is right, answer "correct as it is".',
        why="Unusual values are often another unit or a lost decimal mark",
    )  # fmt: skip


def _rule(item: Variable, rule_id: str, action: Action, broken: pl.Expr, *, says: str, fix: str,
          why: str) -> Rule:  # fmt: skip
    place = (item.table, item.name) in PLACE and action == "hold"
    holds = () if action == "ask" else unknown_when_held(item.table, item.name)
    return Rule(
        id=rule_id, action="stop" if place else action, tables=(item.table,), broken=broken,
        shows=(item.name,), says=says, fix=fix, why=why, source=CODEBOOK,
        holds=() if place else holds,
    )  # fmt: skip


def _fill(item: Variable) -> str:
    if item.codes:
        return f'Give one of: {_choices(item)}; or answer "cannot be found".'
    unit = f" in {IN_WORDS.get(item.unit, item.unit)}" if item.unit else ""
    return f'Give the value{unit}, or answer "cannot be found".'


def _choices(item: Variable) -> str:
    return ", ".join(item.codes.values())


def _range(item: Variable, pair: tuple[str, str]) -> str:
    unit = IN_WORDS.get(item.unit, item.unit)
    return f"{pair[0]} to {pair[1]} {unit}".strip()


def _number(item: Variable, text: str) -> date | float:
    return date.fromisoformat(text) if item.kind == "date" else float(text)
