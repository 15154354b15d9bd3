"""The part of JSON Schema 2020-12 that the mapping's schema uses; another keyword is an error."""

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import unquote

_IGNORED = {"$schema", "$defs", "title", "description", "format"}
_TYPES: dict[str, type | tuple[type, ...]] = {
    "string": str, "object": dict, "array": list, "boolean": bool, "integer": int,
    "number": (int, float),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Spot:
    """A value, the schema it is held against, and where it stands."""

    value: Any
    schema: dict[str, Any]
    root: dict[str, Any]
    at: str = ""

    def inner(self, value: Any, schema: dict[str, Any], name: object) -> list[str]:
        return faults(value, schema, self.root, f"{self.at}/{name}")


def faults(value: Any, schema: dict[str, Any], root: dict[str, Any], at: str = "") -> list[str]:
    """List where a TOML value breaks the schema; a date of TOML is text in JSON."""
    spot = Spot(value.isoformat() if isinstance(value, date) else value, schema, root, at)
    unknown = set(schema) - {*_CHECKS, *_IGNORED}
    assert not unknown, unknown
    found = [list(_CHECKS[key](spot, schema[key])) for key in schema if key in _CHECKS]
    return [fault for some in found for fault in some]


def _ref(spot: Spot, wanted: str) -> Iterator[str]:
    named = unquote(wanted.removeprefix("#/$defs/"))
    yield from faults(spot.value, spot.root["$defs"][named], spot.root, spot.at)


def _any_of(spot: Spot, wanted: list[dict[str, Any]]) -> Iterator[str]:
    tried: list[list[str]] = []
    for one in wanted:
        tried.append(faults(spot.value, one, spot.root, spot.at))
        if not tried[-1]:
            return
    # what the branch that came furthest says
    yield from max(tried, key=lambda found: max(fault.count("/") for fault in found))


def _enum(spot: Spot, wanted: list[Any]) -> Iterator[str]:
    if not any(type(item) is type(spot.value) and item == spot.value for item in wanted):
        yield f"{spot.at}: {spot.value!r} is none of the choices"


def _const(spot: Spot, wanted: Any) -> Iterator[str]:
    yield from _enum(spot, [wanted])


def _type(spot: Spot, wanted: str | list[str]) -> Iterator[str]:
    if not any(_is(spot.value, name) for name in ([wanted] if isinstance(wanted, str) else wanted)):
        yield f"{spot.at}: {spot.value!r} is no {wanted}"


def _is(value: Any, name: str) -> bool:
    number = name in ("integer", "number") and isinstance(value, bool)
    return isinstance(value, _TYPES[name]) and not number


def _properties(spot: Spot, wanted: dict[str, Any]) -> Iterator[str]:
    for name, item in _members(spot.value):
        if name in wanted:
            yield from spot.inner(item, wanted[name], name)


def _additional(spot: Spot, wanted: dict[str, Any] | bool) -> Iterator[str]:
    for name, item in _members(spot.value):
        if name not in spot.schema.get("properties", {}):
            if isinstance(wanted, dict):
                yield from spot.inner(item, wanted, name)
            else:
                yield f"{spot.at}/{name}: unknown key"


def _required(spot: Spot, wanted: list[str]) -> Iterator[str]:
    if isinstance(spot.value, dict):
        yield from (f"{spot.at}: {name} is missing" for name in wanted if name not in spot.value)


def _items(spot: Spot, wanted: dict[str, Any]) -> Iterator[str]:
    for place, item in enumerate(spot.value if isinstance(spot.value, list) else []):
        yield from spot.inner(item, wanted, place)


def _pattern(spot: Spot, wanted: str) -> Iterator[str]:
    if isinstance(spot.value, str) and not re.search(wanted, spot.value):
        yield f"{spot.at}: {spot.value!r} does not fit {wanted}"


def _minimum(spot: Spot, wanted: int) -> Iterator[str]:
    if _is(spot.value, "number") and spot.value < wanted:
        yield f"{spot.at}: {spot.value} is below {wanted}"


def _maximum(spot: Spot, wanted: int) -> Iterator[str]:
    if _is(spot.value, "number") and spot.value > wanted:
        yield f"{spot.at}: {spot.value} is above {wanted}"


def _min_items(spot: Spot, wanted: int) -> Iterator[str]:
    if isinstance(spot.value, list) and len(spot.value) < wanted:
        yield f"{spot.at}: fewer than {wanted}"


def _members(value: Any) -> Iterable[tuple[str, Any]]:
    return value.items() if isinstance(value, dict) else ()


_CHECKS: dict[str, Callable[[Spot, Any], Iterator[str]]] = {
    "$ref": _ref, "anyOf": _any_of, "enum": _enum, "const": _const, "type": _type,
    "properties": _properties, "additionalProperties": _additional, "required": _required,
    "items": _items, "pattern": _pattern, "minimum": _minimum, "maximum": _maximum,
    "minItems": _min_items,
}  # fmt: skip
