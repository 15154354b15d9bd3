"""Words of a mapping that the codebook knows: codes, units, patterns, conditions."""

import re
from collections.abc import Iterable, Mapping
from itertools import pairwise

import polars as pl

from pipeline.intake.cells import as_type
from pipeline.intake.grammar import UNITS_TO
from pipeline.intake.mapping import Condition
from pipeline.intake.section import Section, as_text, as_texts, known
from schemas.codebook import Variable
from shared.errors import MappingError

TIME_OF_DAY = ("hh", "mm", "ss")
_TOKENS = r"YYYY|YY|MMM|MM|DD|hh|mm|ss|[^\W\d_]"
_MONTHS = [[month, year] for month in ("MM", "MMM") for year in ("YY", "YYYY")]
_DATES = [["DD", *month] for month in _MONTHS]


def read_condition(part: Section) -> Condition:
    """Read { column = "Event", is = ["OP"] } and its variants."""
    column = part.need("column", str, '"Event"')
    wanted, refused = part.texts("is"), part.texts("is_not")
    filled = part.take("filled", bool, False)
    filled = filled if "filled" in part.content else None
    condition = Condition(
        column=column, texts=tuple(tidy_word(text) for text in wanted or refused),
        pattern=checked_pattern(part.take("matches", str, ""), part.where),
        filled=filled, negated=bool(refused),
    )  # fmt: skip
    if not condition.texts and not condition.pattern and filled is None:
        raise MappingError(
            part.where, "the condition says nothing", do="Add is, is_not, matches or filled."
        )
    return condition


def read_conditions(parts: Iterable[Section]) -> tuple[Condition, ...]:
    """Read conditions that must all hold."""
    conditions: list[Condition] = []
    for part in parts:
        conditions.append(read_condition(part))
        part.done()
    return tuple(conditions)


def tidy_word(text: str) -> str:
    """Write a word of a mapping as cells are compared: no case, every run of spaces one."""
    return " ".join(text.split()).lower()


def canonical_code(value: object, variable: Variable, where: str) -> str:
    """Give a canonical code, and refuse what the codebook does not list."""
    code = as_text(value, where)
    allowed = ("true", "false") if variable.kind == "bool" else tuple(variable.codes)
    if variable.name == "side":
        allowed = (*allowed, "both")
    return known(code, allowed, where) if allowed else code


def typed_code(value: object, variable: Variable, where: str) -> str:
    """Give a canonical code that is of the variable's type."""
    code = canonical_code(value, variable, where)
    if as_type(pl.Series([code]), variable).item() is None:
        raise MappingError(
            f"{where}, {variable.name}",
            f'"{code}" is no {variable.kind}',
            do="Write a date as 2021-03-15, a number with a point.",
        )
    return code


def wanted_codes(part: Section, variables: Mapping[str, Variable]) -> dict[str, tuple[str, ...]]:
    """Read { variable = [codes] }, the values another variable must have."""
    return {
        known(name, variables, part.where): tuple(
            canonical_code(text, variables[name], part.where)
            for text in as_texts(value, part.where)
        )
        for name, value in part.content.items()
    }


def known_unit(unit: str, variable: Variable, where: str) -> str:
    """Refuse a unit that cannot become the unit of the codebook."""
    if not unit:
        return ""
    target = UNITS_TO.get(variable.unit, {})
    return known(unit, (*target, "gauge") if variable.unit == "mm" else target, f"{where}, unit")


def checked_formats(
    formats: tuple[str, ...], where: str, *, of_birth: bool = False
) -> tuple[str, ...]:
    """Refuse a date format without day, month or year, or with a letter that means nothing.

    Of a birth the month may be all that is known. Parts are set apart by marks, or none of them is.
    """
    known = _DATES + _MONTHS if of_birth else _DATES
    for form in formats:
        found = [part for part in re.finditer(_TOKENS, form) if part[0] != "T"]
        day = [part for part in found if part[0] not in TIME_OF_DAY]
        time = sorted(part[0] for part in found if part[0] in TIME_OF_DAY)
        touching = sum(one.end() == other.start() for one, other in pairwise(day))
        if (
            sorted(part[0] for part in day) not in known
            or time != sorted(TIME_OF_DAY[: len(time)])
            or touching not in (0, len(day) - 1)
        ):
            raise MappingError(
                f"{where}, formats",
                f'"{form}" is no date format',
                do='Use DD, MM or MMM, and YYYY or YY: "DD.MM.YYYY", "DD-MMM-YY"; a time of day '
                'after it is left out with hh:mm: "DD.MM.YYYY hh:mm". A date of birth may be a '
                'month: "MM/YYYY".',
            )
    return formats


def checked_group(pattern: str, where: str) -> str:
    """Refuse a pattern that does not say in brackets which part is to be read."""
    plain = re.sub(r"\{[^\W\d]\w*\}", "x", pattern)  # words of a block are written in later
    checked_pattern(plain, where)
    if pattern and not pl.Series([""]).str.extract_groups(plain).struct.fields:
        raise MappingError(
            where, f'the pattern "{pattern}" has no group', do='Add brackets: "^([0-9])x".'
        )
    return pattern


def checked_pattern(pattern: str, where: str) -> str:
    """Refuse a pattern that is no regular expression."""
    try:
        pl.Series([""]).str.contains(pattern, strict=True)
    except pl.exceptions.ComputeError as error:
        raise MappingError(
            where, f'the pattern "{pattern}" is wrong: {error}', do="Mend the pattern."
        ) from None
    return pattern
