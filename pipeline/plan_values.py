"""What a value of a plan may be: each function gives it parsed, or says what it must be."""

import math
import re
from collections.abc import Callable, Mapping
from typing import Any


def text(value: object) -> str:
    """Take a text that is not blank."""
    if not isinstance(value, str) or not value.strip():
        raise ValueError("a text")
    return value


def identifier(value: object) -> str:
    """Take a name that may stand in a file name and a row id."""
    if not isinstance(value, str) or not re.fullmatch(r"[A-Za-z0-9_.\-]+", value):
        raise ValueError("letters, digits, _ . -")
    return value


def level(value: object) -> str:
    """Write a level as text: true and false without capital, whole numbers without point."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value) if isinstance(value, int | float) else text(value)


def number(value: object) -> float:
    """Take a finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("a number")
    if not math.isfinite(value):
        raise ValueError("a finite number")
    return float(value)


def whole(value: object) -> int:
    """Take a whole number."""
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError("a whole number, 0 or more")
    return value


def share(value: object) -> float:
    """Take a number between 0 and 1."""
    if not 0 < number(value) < 1:
        raise ValueError("a number between 0 and 1")
    return number(value)


def days(value: object) -> tuple[float, ...]:
    """Take one day or several; they come back in order."""
    found = list_of(number)(value if isinstance(value, list) else [value])
    if not found or min(found) < 0:
        raise ValueError("one day or a list of days, none negative")
    return tuple(sorted(found))


def list_of(parse: Callable[[object], Any]) -> Callable[[object], tuple[Any, ...]]:
    """Make a parser of lists from a parser of items."""

    def parse_list(value: object) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise ValueError("a list")
        parsed = tuple(parse(item) for item in value)
        if len(set(parsed)) < len(parsed):
            raise ValueError("a list without repeats")
        return parsed

    return parse_list


def pair(value: object) -> tuple[str, str]:
    """Take a list of two different texts, in any order that is kept."""
    found = list_of(text)(value)
    if len(found) != 2:
        raise ValueError("lists of two columns")
    return found[0], found[1]


def by_column(parse: Callable[[object], Any]) -> Callable[[object], Mapping[str, Any]]:
    """Make a parser of tables, column = value, from a parser of values."""

    def parse_table(value: object) -> Mapping[str, Any]:
        if not isinstance(value, dict):
            raise ValueError("a table of column = value")
        return {str(column): parse(item) for column, item in value.items()}

    return parse_table


def all_or_list(*choices: str, default: tuple[str, ...]) -> Callable[[object], tuple[str, ...]]:
    """Make a parser of true (the `default` choices), false (none) or a list of some choices."""

    def parse_some(value: object) -> tuple[str, ...]:
        if isinstance(value, bool):
            return default if value else ()
        return list_of(one_of(*choices))(value)

    return parse_some


def one_of(*choices: str) -> Callable[[object], str]:
    """Make a parser that takes one of some words."""

    def parse_choice(value: object) -> str:
        if value not in choices:
            raise ValueError(f"one of {', '.join(choices)}")
        return str(value)

    return parse_choice
