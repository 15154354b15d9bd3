"""What a column means: its header in the trade's words, and its values."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from pipeline.draft.families import Family
from pipeline.draft.plain import likeness, tokens
from pipeline.draft.readings import Reading, Tongue, read_as
from pipeline.draft.units import bare
from pipeline.draft.vocabulary import LANGUAGES, Vocabulary, read_vocabulary

# What a row of a kind may say; follow_up rows end the follow-up of a stifle.
CONTEXTS: Mapping[str, tuple[str, ...]] = {
    "stifles": ("animals", "stifles", "procedures"), "animals": ("animals",),
    "rechecks": ("rechecks",), "complications": ("complications",), "revisions": ("revisions",),
    "follow_up": (),
}  # fmt: skip
KEYS = ("local_animal", "local_stifle", "side")
FOLLOW_UP = ("end_of_followup_day", "end_status", "death_cause")
_SHORT = 2  # letters of a word that counts in its own language alone
_BY_VALUES = ("side", "species", "sex_neuter", "breed", "luxation_direction")


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """One possible meaning of a family in a kind of row."""

    family: Family
    counts: Counter[str]
    header_score: float
    phrase: str
    reading: Reading

    @property
    def score(self) -> float:
        """Weigh header and values."""
        return 0.58 * self.header_score + 0.42 * self.reading.fit

    @property
    def proved(self) -> bool:
        """Tell whether header and values leave no doubt."""
        unit = self.reading.unit is None or self.reading.unit.proved
        return unit and self.header_score >= 0.8 and self.reading.fit >= 0.9


@lru_cache(maxsize=4096)
def header_meanings(stem: str, language: str) -> dict[str, tuple[float, str]]:
    """Give every meaning a header may have, with its score and the phrase it is like."""
    vocabulary = read_vocabulary()
    words = tokens(bare(stem, vocabulary, language))
    found: dict[str, tuple[float, str]] = {}
    for phrase in vocabulary.columns:
        foreign = phrase.language != language
        if foreign and len(phrase.words) == 1 and len(phrase.words[0]) <= _SHORT:
            continue  # "op" and "gr" are words of another kind in each language
        score = likeness(words, phrase.words)
        if score and foreign:
            score -= 0.06
        if score > found.get(phrase.meaning, (0.0, ""))[0]:
            shown = f'"{phrase.text}" ({LANGUAGES[phrase.language]})'
            found[phrase.meaning] = (score, shown)
    return found


def meanings_of(
    family: Family, stem: str, context: str, tongue: Tongue, *, counts: Counter[str]
) -> list[Meaning]:
    """Give what a family may mean in rows of this kind, best first."""
    found: list[Meaning] = []
    scores = header_meanings(stem, tongue.language)
    named: dict[str, tuple[float, str, str]] = {}
    for meaning, (score, phrase) in scores.items():
        name = _variable(meaning, context, tongue)
        if name and score > named.get(name, (0.0, "", ""))[0]:
            named[name] = (score, phrase, meaning)
    if context in ("stifles", "animals", "rechecks"):
        for name in _BY_VALUES:
            if name not in named and _variable(name, context, tongue):
                named[name] = (0.0, "", name)
    if family.sides:
        named.pop("side", None)  # columns of either side say it in their headers
    for name, (score, phrase, meaning) in named.items():
        reading = read_as(name, meaning, family, tongue=tongue, counts=counts)
        if _no_day(name, meaning, reading):
            continue
        said = score >= 0.9 and reading.how in ("codes", "facts", "number")
        if (reading.fit < 0.25 and not said) or (score < 0.45 and not _by_values(reading, counts)):
            continue
        found.append(Meaning(family=family, counts=counts, header_score=score, phrase=phrase,
                             reading=reading))  # fmt: skip
    return sorted(found, key=lambda item: (-item.score, item.reading.variable))


def _no_day(name: str, meaning: str, reading: Reading) -> bool:
    """Refuse a day of an event where hardly a cell is a date or a time: "Op." with initials."""
    if not name.endswith("_day"):
        return False
    counted = meaning == "surgery_date" and reading.how not in ("date", "duration")
    return counted or reading.fit < 0.25


def _by_values(reading: Reading, counts: Counter[str]) -> bool:
    """Accept a meaning by values alone only if they say it plainly."""
    codes = {item.code for item in reading.codes if item.code}
    exact = sum(item.n for item in reading.codes
                if item.code and not item.evidence.startswith("holds"))  # fmt: skip
    return len(codes) >= 2 and exact >= 0.95 * sum(item.n for item in reading.codes) > 0


def _variable(meaning: str, context: str, tongue: Tongue) -> str:
    """Give the variable that a meaning is in rows of this kind, "" for none."""
    name = tongue.vocabulary.concepts.get((meaning, context), meaning)
    if name in KEYS or (name == "technique" and context == "stifles"):
        return name
    if context == "follow_up":
        return name if name in FOLLOW_UP else ""
    variable = tongue.variables.get(name)
    return name if variable and variable.table in CONTEXTS[context] else ""


def best_language(headers: Sequence[str], vocabulary: Vocabulary) -> str:
    """Find the language in which most headers are a phrase of the trade, and no other's."""
    told: Counter[str] = Counter(dict.fromkeys(LANGUAGES, 0))
    for header in dict.fromkeys(re.sub(r"\d+", " ", name) for name in headers):
        words = tokens(bare(header, vocabulary, "en"))
        best: dict[str, float] = {}
        for phrase in vocabulary.columns:
            score = likeness(words, phrase.words)
            best[phrase.language] = max(best.get(phrase.language, 0.0), score)
        top = max(best.values(), default=0.0)
        winners = [name for name, score in best.items() if score == top and top >= 0.5]
        if len(winners) == 1:
            told[winners[0]] += 1
    return max(LANGUAGES, key=lambda name: told[name])
