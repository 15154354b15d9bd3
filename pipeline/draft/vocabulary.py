"""The trade's words in six languages, from shared/codebook/words/*.csv."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from pipeline.draft.plain import Tokens, joined, tokens
from shared.files import declared_rows

LANGUAGES: Mapping[str, str] = {
    "en": "English", "de": "German", "fr": "French", "es": "Spanish", "nl": "Dutch",
    "it": "Italian",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Phrase:
    """One phrase of the trade: in which language, for what, as written and as plain words."""

    meaning: str
    code: str
    language: str
    text: str
    words: Tokens


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """Everything the lists say.

    Attributes
    ----------
    columns
        Phrases of headers; their meaning is a variable or a concept.
    codes
        Variable -> phrases of its codes; "*yes" and "*no" hold for every yes-or-no variable.
    concepts
        (meaning, table) -> variable, where a header means another variable in each table.
    together
        Meaning -> variables that one cell of such a column may set.
    tables, missing, units, months, aside
        Phrases whose meaning is a table, a reason, a unit, a month, a kind of row.
    fillers
        Words that say nothing by themselves: "and", "with", "grade".
    connectives
        Language -> those of them that say nothing beside any word: "and", "with".
    """

    columns: tuple[Phrase, ...]
    codes: Mapping[str, tuple[Phrase, ...]]
    concepts: Mapping[tuple[str, str], str]
    together: Mapping[str, tuple[str, ...]]
    tables: tuple[Phrase, ...]
    missing: tuple[Phrase, ...]
    units: tuple[Phrase, ...]
    months: tuple[Phrase, ...]
    aside: tuple[Phrase, ...]
    fillers: frozenset[str]
    connectives: Mapping[str, frozenset[str]]


@lru_cache(maxsize=1)
def read_vocabulary() -> Vocabulary:
    """Read the lists of words."""
    codes: dict[str, list[Phrase]] = {}
    for phrase in _phrases("codes.csv", "variable", code="code"):
        codes.setdefault(phrase.meaning, []).append(phrase)
    return Vocabulary(
        columns=_phrases("columns.csv", "meaning"),
        codes={name: tuple(found) for name, found in codes.items()},
        concepts={(row["meaning"], row["table"]): row["variable"] for row in _rows("concepts.csv")},
        together={row["meaning"]: tuple(row["variables"].split("|"))
                  for row in _rows("together.csv")},
        tables=_phrases("tables.csv", "table"),
        missing=_phrases("missing.csv", "reason"),
        units=_phrases("units.csv", "unit"),
        months=_phrases("months.csv", "month"),
        aside=_phrases("rows_aside.csv", "reason"),
        fillers=frozenset(word for item in _phrases("fillers.csv", "use") for word in item.words),
        connectives={
            language: frozenset(word for item in _phrases("fillers.csv", "use")
                                if item.meaning == "filler" and item.language == language
                                for word in item.words)
            for language in LANGUAGES
        },
    )  # fmt: skip


def meant(text: str, phrases: tuple[Phrase, ...], language: str) -> Phrase | None:
    """Find the phrase a text is, the export's own language first."""
    wanted = joined(tokens(text))
    fits = [item for item in phrases if joined(item.words) == wanted]
    own = [item for item in fits if item.language == language]
    return (own or fits or [None])[0]


def _phrases(name: str, key: str, *, code: str = "") -> tuple[Phrase, ...]:
    return tuple(
        Phrase(row[key], row[code] if code else "", language, text, tokens(text))
        for row in _rows(name)
        for language in LANGUAGES
        for text in row[language].split("|")
        if text
    )


def _rows(name: str) -> list[dict[str, str]]:
    return declared_rows(files("shared") / "codebook" / "words" / name)
