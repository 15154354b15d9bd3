"""Headers that announce a direct identifier, in many languages; the words stand in shared/."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib.resources import files

from shared.files import declared_rows

REPEATED = re.compile(r"(?: [0-9]+)+$")  # "Phone 2", "Owner (2)"
JOINED = re.compile(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])")  # "ownerName"


def header_kind(header: str) -> str | None:
    """Name the kind of identifier that a header announces, if any.

    Case, accents and marks do not count, nor do words that say whose it is ("owner", "Tier") or
    that end a label ("no", "number"): "Tel.-Nr. Besitzer" is a telephone number. Any other word
    makes it another thing: "Phone recheck", "Dirección de la luxación".
    """
    known = _words()
    parts = _parts()
    words = REPEATED.sub("", plain(header)).split()
    words = [word for word in words if word not in parts["between"]]
    for left in _shorter(words, parts["whose"] | parts["ending"]):
        kind = known.get(left)
        if kind:
            return kind
    return None


def says_only_whose(header: str) -> bool:
    """Say whether a header names somebody and nothing else: "Patient", "Tier"; cells decide."""
    words = [word for word in plain(header).split() if word not in _parts()["between"]]
    return bool(words) and all(word in _parts()["whose"] for word in words)


def plain(text: str) -> str:
    """Give words in lower case, without accents and marks, one space apart."""
    folded = unicodedata.normalize("NFKD", JOINED.sub(" ", text).casefold())
    letters = "".join(mark for mark in folded if not unicodedata.combining(mark))
    return " ".join(re.findall(r"[^\W_]+", letters))


def _shorter(words: list[str], droppable: frozenset[str]) -> Iterable[str]:
    """Give the words as they stand, then with droppable words taken off either end."""
    for start in range(len(words)):
        if start and words[start - 1] not in droppable:
            return
        for end in range(len(words), start, -1):
            if end < len(words) and words[end] not in droppable:
                break
            yield " ".join(words[start:end])


@lru_cache(maxsize=1)
def _words() -> Mapping[str, str]:
    """Give the kind of each label, without the words that stand between others."""
    between = _parts()["between"]
    found: dict[str, str] = {}
    for row in _rows("headers.csv"):
        for label in row["words"].split("|"):
            key = " ".join(word for word in plain(label).split() if word not in between)
            found.setdefault(key, row["kind"])
    return found


@lru_cache(maxsize=1)
def _parts() -> Mapping[str, frozenset[str]]:
    return {
        row["part"]: frozenset(plain(word) for word in row["words"].split("|"))
        for row in _rows("parts.csv")
    }


def _rows(name: str) -> list[dict[str, str]]:
    return declared_rows(files("shared") / "screening" / name)
