"""A part of a mapping file, read strictly: every key is known and of its type, or it is named."""

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from shared.errors import MappingError, nearest

T = TypeVar("T")


class Section:
    """Keys of one TOML table; `done` refuses what nobody asked for."""

    def __init__(self, content: object, where: str) -> None:
        if not isinstance(content, dict):
            raise MappingError(
                where, "this is no table of keys", do="Write it as { key = value } or [section]."
            )
        self.content: dict[str, Any] = content
        self.where = where
        self.asked: set[str] = set()

    def take(self, key: str, kind: type[T], default: T) -> T:
        """Give the value of a key, or the default where it is absent."""
        self.asked.add(key)
        value = self.content.get(key, default)
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is int):
            raise MappingError(
                f"{self.where}, {key}",
                f"the value is no {_TYPE_NAMES[kind]}",
                do=f"Write {_TYPE_NAMES[kind]} here.",
            )
        return value

    def number(self, key: str) -> float:
        """Give a number, whole or not."""
        whole = isinstance(self.content.get(key), int)
        return float(self.take(key, int, 0) if whole else self.take(key, float, 0.0))

    def need(self, key: str, kind: type[T], example: str) -> T:
        """Give the value of a key that must be there."""
        if key not in self.content:
            self.asked.add(key)
            close = [name for name in self.content if name not in self.asked]
            raise MappingError(
                self.where,
                f'the key "{key}" is missing',
                do=f"Add, for example, {key} = {example}."
                + (f" Found here: {', '.join(sorted(close))}." if close else ""),
            )
        return self.take(key, kind, kind())

    def texts(self, key: str) -> tuple[str, ...]:
        """Give one text or a list of texts as a tuple; numbers and booleans become text."""
        self.asked.add(key)
        return as_texts(self.content.get(key, []), f"{self.where}, {key}")

    def one_of(self, key: str, choices: Iterable[str], default: str) -> str:
        """Give a text that must be one of the choices."""
        return known(self.take(key, str, default), choices, f"{self.where}, {key}")

    def sections(self, key: str) -> "tuple[Section, ...]":
        """Give a list of tables."""
        items = self.take(key, list, [])
        return tuple(
            Section(item, f"{self.where}, {key} {place}")
            for place, item in enumerate(items, start=1)
        )

    def section(self, key: str) -> "Section":
        """Give a table, empty where it is absent."""
        self.asked.add(key)
        return Section(self.content.get(key, {}), f"{self.where}, {key}")

    def done(self) -> None:
        """Refuse keys that were not asked for."""
        for key in self.content:
            if key not in self.asked:
                raise MappingError(
                    self.where, f'the key "{key}" is unknown', do=nearest(key, self.asked)
                )


def known(name: str, choices: Iterable[str], where: str) -> str:
    """Give the name if it is one of the choices."""
    listed = list(choices)
    if name not in listed:
        raise MappingError(where, f'"{name}" is not known', do=nearest(name, filter(None, listed)))
    return name


def as_text(value: object, where: str) -> str:
    """Write a TOML scalar as canonical text: true, 3, 0.8, 2021-02-01."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        raise MappingError(where, "one value is wanted, not several", do="Write a single value.")
    return str(value)


def as_texts(value: object, where: str) -> tuple[str, ...]:
    """Write a TOML scalar or list of scalars as canonical texts."""
    items: list[Any] = value if isinstance(value, list) else [value]
    return tuple(as_text(item, where) for item in items)


def as_text_table(content: Mapping[str, object], where: str) -> dict[str, str]:
    """Write a TOML table of scalars as canonical texts."""
    return {key: as_text(value, f"{where}, {key}") for key, value in content.items()}


_TYPE_NAMES: Mapping[type, str] = {
    str: "text", int: "whole number", float: "number", bool: "true or false",
    list: "list", dict: "table",
}  # fmt: skip
