"""Code lists: every text of a coded column with its count and the code it probably means."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from pipeline.draft.plain import Tokens, joined, tokens
from pipeline.draft.vocabulary import LANGUAGES, Phrase, Vocabulary, read_vocabulary
from schemas.codebook import Variable

HALF_GRADE = "Half grade: the higher is taken."
_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4"}
_PART = r"([0-4]|iv|i{1,3})"
_WORD = r"(?P<word>[^\W\d_]+?)??\.?\s*"
_GRADE = re.compile(rf"{_WORD}{_PART}(?:\s*/\s*4)?\s*°?", re.IGNORECASE)
_HALF = re.compile(rf"{_WORD}{_PART}\s*[-–/]\s*{_PART}(?:\s*/\s*4)?\s*°?", re.IGNORECASE)


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
    return _covered(text, n, said=said, phrases=phrases, order=order)


def _covered(
    text: str, n: int, *, said: tuple[str, ...], phrases: tuple[Phrase, ...], order: Sequence[str]
) -> CodeGuess:
    """Propose a code only if its phrases and words that say nothing make up the whole text.

    Where a word is left unexplained it may say the opposite: "weibl. kastr." is not "weibl.".
    """
    own = [item for item in phrases if item.language == order[0]]
    known = {word for item in own for word in item.words}
    vocabulary = read_vocabulary()
    silent = vocabulary.connectives[order[0]] - known
    yes = {word for item in vocabulary.codes["*yes"] if item.language == order[0]
           for word in item.words if len(word) > 1}  # fmt: skip
    found: dict[str, str] = {}
    for code in dict.fromkeys(item.code for item in own):
        mute = silent if code in ("none", "false") else silent | yes  # "ja, Patella"
        left = [word for word in said if word not in mute]
        taken: list[str] = []
        for item in sorted((item for item in own if item.code == code),
                           key=lambda item: -len("".join(item.words))):  # fmt: skip
            if take(left, item.words):
                taken.append(item.text)
        if taken and not any(left) and len("".join(taken)) >= 3:
            found[code] = taken[0]
    if len(found) != 1:
        return CodeGuess(text=text, n=n)
    code, word = found.popitem()
    return CodeGuess(text=text, n=n, code=code, evidence=f'holds the trade word "{word}"')


def take(left: list[str], words: Tokens) -> bool:
    """Take a phrase out of the words that are left, so that no shorter one claims them."""
    width = len(words)
    for at in range(len(left) - width + 1):
        if tuple(left[at : at + width]) == words:
            left[at : at + width] = [""]
            return True
    return False


def _grade(text: str, n: int) -> CodeGuess | None:
    """Read a grade in figures; the word before it must be one of grades, as in "MPL 2"."""
    found = _GRADE.fullmatch(text) or _HALF.fullmatch(text)
    if not found or not _of_grades(found["word"] or ""):
        return None
    figures = [_ROMAN.get(part.lower(), part) for part in found.groups()[1:]]
    if len(figures) == 1:
        return CodeGuess(text=text, n=n, code=figures[0], proved=True,
                         evidence="the grade in figures")  # fmt: skip
    low, high = figures
    if int(high) != int(low) + 1:
        return None
    return CodeGuess(text=text, n=n, code=high, note=HALF_GRADE, evidence="a half grade")


def _of_grades(word: str) -> bool:
    flat, vocabulary = tokens(word), read_vocabulary()
    ways = vocabulary.codes["luxation_direction"]
    return not word or flat[0] in vocabulary.fillers or any(item.words == flat for item in ways)


def as_table(guesses: Sequence[CodeGuess]) -> Mapping[str, str]:
    """Give text -> code of what has a proposal."""
    return {item.text: item.code for item in guesses if item.code}
