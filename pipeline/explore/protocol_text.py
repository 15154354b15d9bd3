"""study.toml with some switches changed: every other line, comments too, stays as it is."""

import difflib
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from pipeline.explore.switches import Values
from shared.errors import PlanError

HEADER = re.compile(r"^\s*\[([A-Za-z_]+)\]\s*(#.*)?$")
ANY_HEADER = re.compile(r"^\s*\[")


def with_switches(text: str, changes: Values) -> str:
    """Write the changed switches into the text of study.toml.

    A key that stands there gets its new value and keeps the comment behind it; one that does not
    is added at the end of its section; a section that is missing comes before the first
    ``[[…]]``. A value of None takes the key out.

    Raises
    ------
    PlanError
        If the text that results would not say what was asked for.
    """
    end = "\r\n" if "\r\n" in text else "\n"
    lines = text.replace("\r\n", "\n").split("\n")
    for section, keys in changes.items():
        for key, value in keys.items():
            lines = _with_key(lines, section, key, value)
    new = end.join(lines)
    if _read(new) != _wanted(tomllib.loads(text), changes):
        raise PlanError(
            "study.toml", "the switches cannot be written into it safely",
            do="Write them by hand; the page shows what would change.",
        )  # fmt: skip
    return new


def difference(before: str, after: str) -> str:
    """Show which lines change, as a unified difference."""
    lines = difflib.unified_diff(
        before.splitlines(), after.splitlines(), "study.toml as saved", "study.toml as it would be",
        lineterm="", n=1,
    )  # fmt: skip
    return "\n".join(lines)


def _read(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _wanted(raw: dict[str, Any], changes: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    for section, keys in changes.items():
        if keys:
            raw.setdefault(section, {})
        for key, value in keys.items():
            raw[section].pop(key, None)
            if value is not None:
                raw[section][key] = value
    return raw


def _with_key(lines: list[str], section: str, key: str, value: object) -> list[str]:
    start, end = _section(lines, section)
    if start is None:
        place = next((at for at, line in enumerate(lines) if line.lstrip().startswith("[[")),
                     len(lines))  # fmt: skip
        block = [f"[{section}]", *_line(key, value), ""]
        return [*lines[:place], *block, *lines[place:]]
    found = _key(lines, key, start + 1, end)
    if found is None:
        last = max(at for at in range(start, end) if at == start or lines[at].strip())
        return [*lines[: last + 1], *_line(key, value), *lines[last + 1 :]]
    first, after, comment = found
    return [*lines[:first], *(line + comment for line in _line(key, value)), *lines[after:]]


def _line(key: str, value: object) -> list[str]:
    return [] if value is None else [f"{key} = {_toml(value)}"]


def _section(lines: list[str], section: str) -> tuple[int | None, int]:
    """Give the line of a section's header and that after its last."""
    start = next((at for at, line in enumerate(lines)
                  if (found := HEADER.match(line)) and found[1] == section), None)  # fmt: skip
    if start is None:
        return None, len(lines)
    end = next((at for at in range(start + 1, len(lines)) if ANY_HEADER.match(lines[at])),
               len(lines))  # fmt: skip
    return start, end


def _key(lines: list[str], key: str, start: int, end: int) -> tuple[int, int, str] | None:
    """Give the first line of a key, that after its value, and the comment behind it."""
    for first in range(start, end):
        if not re.match(rf"\s*{re.escape(key)}\s*=", lines[first]):
            continue
        for after in range(first + 1, end + 1):
            if _is_whole("\n".join(lines[first:after])):
                return first, after, _comment(lines[after - 1])
    return None


def _is_whole(text: str) -> bool:
    return _read(text) is not None


def _comment(line: str) -> str:
    """Give the comment at the end of a line with the space before it; quoted marks are none."""
    found = re.match(r"""^(?:[^#"']|"[^"]*"|'[^']*')*?(\s*#.*)$""", line)
    return found[1] if found else ""


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)
