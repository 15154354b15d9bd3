"""Cells that say several things: "2P+TB", "Blockrezession, TTT lateral", "MPL 2 (rDVM)"."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations

from pipeline.draft.codes import missing_reason, take
from pipeline.draft.plain import joined, tokens
from pipeline.draft.settle import settle, whole_answer
from pipeline.draft.vocabulary import LANGUAGES, Phrase, Vocabulary, read_vocabulary

_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4"}
_SEPARATORS = (";", ",", "+", "/", "&")
Settings = Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One text and what it sets; `left` are the words nobody understood."""

    text: str
    n: int
    sets: Settings = field(default_factory=dict[str, str])
    missing: Settings = field(default_factory=dict[str, str])
    left: tuple[str, ...] = ()
    reason: str = ""

    @property
    def told(self) -> bool:
        """Tell whether every word of it is understood."""
        return bool(self.sets or self.missing) and not self.left


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Every distinct item of a column, and the marks that part items in a cell."""

    items: tuple[Fact, ...]
    separators: tuple[str, ...]

    @property
    def understood(self) -> float:
        """Give the share of items that are understood, words for a missing value left out."""
        return self.n_told / self.n_asked if self.n_asked else 0.0

    @property
    def n_told(self) -> int:
        """Count the items that are understood."""
        return sum(item.n for item in self.items if item.told)

    @property
    def n_asked(self) -> int:
        """Count the items that say something."""
        return sum(item.n for item in self.items if not item.reason)

    @property
    def variables(self) -> tuple[str, ...]:
        """Name the variables that some item sets."""
        named = [name for item in self.items for name in (*item.sets, *item.missing)]
        return tuple(dict.fromkeys(named))


def guess_facts(
    counts: Counter[str], meaning: str, vocabulary: Vocabulary, *, language: str
) -> Facts:
    """Read every item; procedures are parted by the separators that leave the fewest items."""
    present = [mark for mark in _SEPARATORS if any(mark in text for text in counts)]
    choices = [marks for size in range(3) for marks in combinations(present, size)]
    tried = [_parted(counts, marks, meaning, vocabulary=vocabulary, language=language)
             for marks in choices]  # fmt: skip
    top = max(item.understood for item in tried)
    if meaning != "technique" and tried[0].understood >= 0.8 * top:
        return tried[0]
    good = [item for item in tried if item.understood >= top - 0.02]
    apart = [item for item in good if _parts_most(counts, item.separators)]
    good = apart or good
    return min(good, key=lambda item: len(item.items) + 3 * len(item.separators))


def _parted(
    counts: Counter[str], separators: tuple[str, ...], meaning: str, *, vocabulary: Vocabulary,
    language: str,
) -> Facts:  # fmt: skip
    items = _split(counts, separators, language)
    ordered = sorted(items.items(), key=lambda pair: (-pair[1], pair[0]))
    return Facts(
        items=tuple(
            _fact(text, n, meaning, vocabulary=vocabulary, language=language) for text, n in ordered
        ),
        separators=separators,
    )


def _parts_most(counts: Counter[str], separators: Sequence[str]) -> bool:
    """Tell whether the separators stand in at least a third of the cells."""
    held = sum(n for text, n in counts.items() if any(mark in text for mark in separators))
    return 3 * held >= counts.total()


def _split(counts: Counter[str], separators: Sequence[str], language: str) -> Counter[str]:
    if not separators:
        return counts
    found: Counter[str] = Counter()
    for text, n in counts.items():
        whole = missing_reason(text, language)
        parts = [text] if whole else re.split("|".join(map(re.escape, separators)), text)
        for part in parts:
            if part.strip():
                found[part.strip()] += n
    return found


def _fact(text: str, n: int, meaning: str, *, vocabulary: Vocabulary, language: str) -> Fact:
    variables = vocabulary.together[meaning]
    sets = whole_answer(text, meaning, vocabulary, language)
    missing: dict[str, str] = {}
    left = [] if sets else list(tokens(text))
    for phrase, variable in _longest_first(meaning, language):
        if variable in sets or variable in missing or not take(left, phrase.words):
            continue
        if phrase.code.startswith("!"):
            missing[variable] = phrase.code[1:]
        else:
            sets[variable] = phrase.code
    _numbers(text, left, variables, sets)
    # The words of a grade name an event of their own among complications.
    silent = vocabulary.connectives[language] if meaning == "complication_type" else None
    rest = tuple(word for word in left if word and word not in (silent or vocabulary.fillers))
    if not sets and not missing and (reason := missing_reason(text, language)):
        return Fact(text=text, n=n, reason=reason)
    sets, missing = settle(meaning, sets, missing)
    return Fact(text=text, n=n, sets=sets, missing=missing, left=rest)


@lru_cache(maxsize=64)
def _longest_first(meaning: str, language: str) -> list[tuple[Phrase, str]]:
    """Give every phrase of a meaning's variables: longest first, the export's language first."""
    vocabulary = read_vocabulary()
    variables = vocabulary.together[meaning]
    order = {name: place for place, name in enumerate((language, *LANGUAGES))}
    found = [
        (phrase, name) for name in variables for phrase in vocabulary.codes.get(name, ())
        if phrase.language == language or len(joined(phrase.words)) > 3
    ]  # fmt: skip
    place = {name: at for at, name in enumerate(variables)}
    return sorted(
        found, key=lambda pair: (-len(joined(pair[0].words)), order[pair[0].language],
                                 place[pair[1]], pair[0].code),
    )  # fmt: skip


def _numbers(text: str, left: list[str], variables: Sequence[str], sets: dict[str, str]) -> None:
    """Read the number beside a K-wire as their count, and beside a patella as its grade."""
    figures = [word for word in left if _ROMAN.get(word, word) in ("0", "1", "2", "3", "4")]
    if not figures:
        return
    value = _ROMAN.get(figures[0], figures[0])
    if "kwire_count" in variables and sets.get("ttt_fixation", "").startswith("k_wire"):
        sets["kwire_count"] = value
    elif "patella_grade" in variables and sets.get("patella_grade") is None:
        sets["patella_grade"] = value
        if re.search(r"[0-4]\s*/\s*4", text) and "4" in left:
            left.remove("4")
    else:
        return
    if figures[0] in left:
        left.remove(figures[0])
