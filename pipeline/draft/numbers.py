"""How numbers are written: decimal mark, mark between thousands, times with units."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.draft.dialect import Guess
from pipeline.draft.plain import joined, tokens
from pipeline.draft.vocabulary import LANGUAGES, Vocabulary

_COMMA = re.compile(r"[-+]?(\d*,\d{1,2}|\d+,\d{4,}|\d{1,3}(\.\d{3})+,\d+|0?,\d+)")
_POINT = re.compile(r"[-+]?(\d*\.\d{1,2}|\d+\.\d{4,}|\d{1,3}(,\d{3})+\.\d+|0?\.\d+)")
_GROUPED = re.compile(r"\d{1,3}([.,' ])\d{3}(\1\d{3})*([.,]\d+)?")
_BEHIND = re.compile(r"(?<=\d)\s*(?:[^\W\d_]+\.?|[\"”″]|'')$")  # a unit behind a number
_UNIT = re.compile(r"(\d+(?:[.,]\d+)?)\s*([^\W\d_]+)\.?|([^\W\d_]+)\.?\s*(\d+(?:[.,]\d+)?)")
TIMES = ("days", "weeks", "months", "years")


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """The decimal mark and the mark between thousands, and why.

    In a `typed` file real numbers come with a point beside what is typed with the clinic's mark.
    """

    decimal: str = "."
    group: str = ""
    guess: Guess
    typed: bool = False

    def number(self, text: str) -> float | None:
        """Read a number so written, else give None."""
        digits = text.replace(self.group, "") if self.group else text
        if self.decimal != "." and "." in digits and not self.typed:
            return None
        plain = digits.replace(self.decimal, ".") if self.decimal != "." else digits
        return float(plain) if re.fullmatch(r"[-+]?(\d+(\.\d+)?|\.\d+)", plain) else None


def guess_marks(texts: Iterable[str], *, typed: bool, language: str) -> Marks:
    """Guess the marks from every cell that is a number, with a unit or without one."""
    comma = point = 0
    groups: Counter[str] = Counter()
    for text in (_BEHIND.sub("", cell) for cell in texts):
        comma += bool(_COMMA.fullmatch(text))
        point += bool(_POINT.fullmatch(text))
        if found := _GROUPED.fullmatch(text):
            groups[found[1]] += bool(found[3]) or found[1] in "' "
    decimal = "," if comma > point else "."
    group = next((mark for mark, n in groups.most_common() if n and mark != decimal), "")
    why = f"{comma} cells with a decimal comma, {point} with a decimal point"
    if group:
        why += f"; {groups[group]} with {group!r} between thousands"
    proved = min(comma, point) == 0
    if typed:  # its real numbers come with a point; only typed text shows the clinic's own mark
        decimal = "," if comma or language != "en" else "."
        group, proved = "", comma > 0
        why = f"{comma} cells typed with a comma; real numbers are read as they are"
    guess = Guess(what="decimal mark", value=decimal, evidence=why, proved=proved)
    return Marks(decimal=decimal, group=group, guess=guess, typed=typed)


def time_units(text: str, vocabulary: Vocabulary, language: str) -> dict[str, str] | None:
    """Read the unit words of "3y 2m", "6 wk", "S6", or give None where one is unknown."""
    rest = _UNIT.sub("", text)
    found = [match[2] or match[3] for match in _UNIT.finditer(text)]
    if not found or joined(tokens(rest)):
        return None
    for name in (language, *(item for item in LANGUAGES if item != language)):
        known = {
            joined(item.words): item.meaning for item in vocabulary.units
            if item.language == name and item.meaning in TIMES
        }  # fmt: skip
        if all(joined(tokens(word)) in known for word in found):
            return {word: known[joined(tokens(word))] for word in found}
    return None
