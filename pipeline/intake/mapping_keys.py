"""Every key of a mapping file, declared once in mapping_keys.csv: its value and what it says."""

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from pipeline.intake.mapping import MADE_TABLES, MISSING_REASONS, OPERATIONS
from pipeline.intake.mapping_source import READERS
from pipeline.intake.mapping_source_file import FORMATS
from pipeline.intake.screen_patterns import KINDS
from shared.files import declared_rows

CHOICES: Mapping[str, tuple[str, ...]] = {
    "missing_reasons": MISSING_REASONS,
    "operations": OPERATIONS,
    "readers": tuple(filter(None, READERS)),
    "formats": FORMATS,
    "identifiers": tuple(KINDS),
    "made_tables": MADE_TABLES,
    "hidden_rows": ("refuse", "read", "set_aside"),
    "hidden_columns": ("refuse", "read", "ignore"),
    "merged_cells": ("refuse", "first", "fill"),
    "repeated_headers": ("refuse", "number"),
    "other_texts": ("refuse", "keep"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of one section.

    Attributes
    ----------
    value
        What it holds: text, texts, whole, flag, pattern, choice, table, tables, …
    refers_to
        Name of its choices, or of the section that it holds.
    """

    name: str
    value: str
    refers_to: str
    required: bool
    says: str


def read_keys() -> dict[str, tuple[Key, ...]]:
    """Give the keys of each section, in declared order."""
    keys: dict[str, list[Key]] = {}
    for row in declared_rows(files("pipeline") / "intake" / "mapping_keys.csv"):
        keys.setdefault(row["section"], []).append(
            Key(name=row["key"], value=row["value"], refers_to=row["choices"],
                required=row["required"] == "yes", says=row["says"])
        )  # fmt: skip
    return {section: tuple(items) for section, items in keys.items()}
