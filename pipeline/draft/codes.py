"""Code lists: every text of a coded column with its count and the code it probably means."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from pipeline.draft.plain import joined, tokens
from pipeline.draft.vocabulary import LANGUAGES, Phrase, Vocabulary, read_vocabulary
from schemas.codebook import Variable

HALF_GRADE = "Half grade: the higher is taken."
_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4"}
_PART = r"([0-4]|iv|i{1,3})"
_GRADE = re.compile(rf"(?:[^\W\d_]+\.?\s*)??{_PART}(?:\s*/\s*4)?", re.IGNORECASE)
_HALF = re.compile(rf"(?:[^\W\d_]+\.?\s*)??{_PART}\s*[-–/]\s*{_PART}(?:\s*/\s*4)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeGuess:
    """One text of a column: how often it stands there, what it probably means, and why.

    `code` is "" where nothing is proposed, `reason` is set where the text says why there is no
    value.
    """

    text: str
    n: int
    code: str = ""
    evidence: str = "no word of the trade that is known"
    proved: bool = False
    note: str = ""
    reason: str = ""


def guess_codes(
    counts: Counter[str], variable: Variable, vocabulary: Vocabulary, *, language: str
) -> tuple[CodeGuess, ...]:
    """Propose a code for every distinct text, the most frequent first."""
    phrases = _phrases(variable, vocabulary)
    spoken = _spoken(counts, phrases, language)
    order = [spoken, *(item for item in LANGUAGES if item != spoken)]
    return tuple(
        _guess(text, n, variable, phrases=phrases, order=order)
        for text, n in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
    )


def understood(guesses: Sequence[CodeGuess]) -> float:
    """Give the share of cells whose text has a proposal, words for a missing value left out."""
    told = sum(item.n for item in guesses if item.code)
    asked = sum(item.n for item in guesses if not item.reason)
    return told / asked if asked else 0.5


@lru_cache(maxsize=1 << 16)
def missing_reason(text: str, language: str) -> str:
    """Say why a value is missing, if the text is a word for that; the export's language first."""
    plain, flat = text.casefold(), joined(tokens(text))
    worded = any(mark.isalpha() for mark in text)
    fits = [
        item for item in read_vocabulary().missing
        if item.text.casefold() == plain or (worded and joined(item.words) == flat)
    ]  # fmt: skip
    own = [item for item in fits if item.language == language]
    return next((item.meaning for item in (*own, *fits)), "")


def _phrases(variable: Variable, vocabulary: Vocabulary) -> tuple[Phrase, ...]:
    own = vocabulary.codes.get(variable.name, ())
    if variable.kind == "bool":
        return (*own, *vocabulary.codes["*yes"], *vocabulary.codes["*no"])
    return tuple(item for item in own if not item.code.startswith("!"))


def _spoken(counts: Counter[str], phrases: tuple[Phrase, ...], language: str) -> str:
    """Find the language in which most cells of this column are a known word."""
    known: dict[str, set[str]] = {name: set() for name in LANGUAGES}
    for item in phrases:
        known[item.language].add(joined(item.words))
    told = {
        name: sum(n for text, n in counts.items() if joined(tokens(text)) in known[name])
        for name in LANGUAGES
    }
    return max(LANGUAGES, key=lambda name: (told[name], name == language))


def _guess(
    text: str, n: int, variable: Variable, *, phrases: tuple[Phrase, ...], order: Sequence[str]
) -> CodeGuess:
    flat, said = joined(tokens(text)), tokens(text)
    for code, label in variable.codes.items():
        if flat in (joined(tokens(code)), joined(tokens(label))):
            return CodeGuess(text=text, n=n, code=code, proved=True,
                             evidence="equal to the codebook's word")  # fmt: skip
    if "grade" in variable.unit and (graded := _grade(text, n)):
        return graded
    for language in order:
        codes = {item.code for item in phrases
                 if item.language == language and joined(item.words) == flat}  # fmt: skip
        if len(codes) == 1:
            return CodeGuess(text=text, n=n, code=codes.pop(),
                             evidence=f"trade word ({LANGUAGES[language]})")  # fmt: skip
    if reason := missing_reason(text, order[0]):
        return CodeGuess(text=text, n=n, reason=reason, evidence="word for a missing value")
    return _contained(text, n, said=said, phrases=phrases, order=order)


def _contained(
    text: str, n: int, *, said: tuple[str, ...], phrases: tuple[Phrase, ...], order: Sequence[str]
) -> CodeGuess:
    """Propose the code of the longest phrase that stands in the text, if it is only one."""
    inside = [item for item in phrases if item.language == order[0] and set(item.words) <= set(said)
              and len("".join(item.words)) >= 3]  # fmt: skip
    longest = max((len("".join(item.words)) for item in inside), default=0)
    codes = {item.code for item in inside if len("".join(item.words)) == longest}
    if len(codes) != 1:
        return CodeGuess(text=text, n=n)
    word = next(item.text for item in inside if len("".join(item.words)) == longest)
    return CodeGuess(text=text, n=n, code=codes.pop(), evidence=f'holds the trade word "{word}"')


def _grade(text: str, n: int) -> CodeGuess | None:
    if found := _GRADE.fullmatch(text):
        code = _ROMAN.get(found[1].lower(), found[1])
        return CodeGuess(text=text, n=n, code=code, proved=True, evidence="the grade in figures")
    if found := _HALF.fullmatch(text):
        low, high = (_ROMAN.get(part.lower(), part) for part in found.groups())
        if int(high) == int(low) + 1:
            return CodeGuess(text=text, n=n, code=high, note=HALF_GRADE, evidence="a half grade")
    return None


def as_table(guesses: Sequence[CodeGuess]) -> Mapping[str, str]:
    """Give text -> code of what has a proposal."""
    return {item.text: item.code for item in guesses if item.code}
