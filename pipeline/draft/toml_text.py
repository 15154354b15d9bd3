"""Pieces of TOML: quoted texts, inline tables, comments, blocks that wait for a person."""

import json
import re
from collections.abc import Iterable, Mapping

from pipeline.intake.mapping_confirm import ToConfirm
from schemas.codebook import Variable

LONGEST_TEXT = 60  # a longer text is no code; it may be a remark about somebody


def quoted(text: str) -> str:
    """Write a text as a TOML string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def key(text: str) -> str:
    """Write a text as a TOML key."""
    return text if re.fullmatch(r"[A-Za-z0-9_-]+", text) else quoted(text)


def listed(texts: Iterable[str]) -> str:
    """Write texts as a TOML array, or as one string where there is one."""
    items = list(texts)
    return quoted(items[0]) if len(items) == 1 else "[" + ", ".join(map(quoted, items)) + "]"


def code(text: str, variable: Variable | None) -> str:
    """Write a code in the type of its variable."""
    kind = variable.kind if variable else "string"
    return text if kind in ("bool", "int") else quoted(text)


def inline(pairs: Mapping[str, str]) -> str:
    """Write an inline table of values that are TOML already."""
    return "{ " + ", ".join(f"{key(name)} = {value}" for name, value in pairs.items()) + " }"


def remark(text: str) -> str:
    """Write a comment; nothing in it can end the line."""
    return "# " + re.sub(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+", " ", text)


def shown(text: str) -> str:
    """Show a text of a cell, or only its length where it is no code."""
    return quoted(text) if len(text) <= LONGEST_TEXT else f"a text of {len(text)} letters"


def rows(n: int) -> str:
    """Count rows in words."""
    return "1 row" if n == 1 else f"{n} rows"


def to_confirm(item: ToConfirm) -> list[str]:
    """Write one block that waits for a person."""
    parts = (("what", item.what), ("guess", item.guess), ("evidence", item.evidence),
             ("do", item.do))  # fmt: skip
    return ["[[to_confirm]]", *(f"{name} = {quoted(text)}" for name, text in parts if text), ""]
