"""Numbers in headers, however they are written: "Kontrolle 2", "2nd check", "Visit II", "6 Wo"."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from pipeline.draft.plain import Tokens, joined, tokens
from pipeline.draft.vocabulary import read_vocabulary

_SCALES = re.compile(r"[(\[](?!\s*(?:\d{1,2}|[IVX]{1,4})\.?\s*[)\]])[^)\]]*[)\]]")
_DIGITS = r"(?<![\d,/#])(?<!\d\.)\d{1,2}(?![\d,/]|\.\d)"
_PLAIN = re.compile(_DIGITS)
_ORDINAL = re.compile(
    rf"{_DIGITS}(?:st|nd|rd|th|er|re|ère|ere|ème|eme|e|è|da|do|ra|ro|ta|to|a|o|ª|º|°)(?![^\W\d_])",
    re.IGNORECASE,
)
_ROMAN = re.compile(r"(?<![^\W_])(?:I{1,3}|IV|VI{0,3}|IX|X)(?![^\W_])")
_TIME = re.compile(rf"{_DIGITS}\s?([^\W\d_]+)")
_WORD = re.compile(r"[^\W\d_]+")
_COUNTED = re.compile(
    "first|second|third|fourth|fifth|erste[rs]?|zweite[rs]?|dritte[rs]?|vierte[rs]?|premiere?|"
    "deuxieme|troisieme|quatrieme|primera?|segund[ao]|tercera?|cuart[ao]"
)
_UNITS = ("days", "weeks", "months", "years")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a number stands in a header, and how it is written."""

    start: int
    end: int
    text: str

    def out_of(self, header: str) -> str:
        """Give the header with {n} for the number."""
        return f"{header[: self.start]}{{n}}{header[self.end :]}"


def plain_places(header: str) -> list[Place]:
    """Find figures that may run 1, 2, 3; the scale in "Lameness (0-5)" is none."""
    return [_place(spot) for spot in _PLAIN.finditer(hidden(header))
            if not spot[0].startswith("0")]  # fmt: skip


@lru_cache(maxsize=4096)
def all_places(header: str) -> tuple[Place, ...]:
    """Find every number, also as a word, Roman, with an ending or with a unit of time."""
    text = hidden(header)
    found = [_place(spot) for pattern in (_ORDINAL, _ROMAN) for spot in pattern.finditer(text)]
    found += [_place(spot) for spot in _TIME.finditer(text) if _is_time(spot[1])]
    found += [_place(spot) for spot in _WORD.finditer(text)
              if _COUNTED.fullmatch("".join(tokens(spot[0])))]  # fmt: skip
    taken = {at for place in found for at in range(place.start, place.end)}
    found += [item for item in map(_place, _PLAIN.finditer(text)) if item.start not in taken]
    return tuple(sorted(found, key=lambda item: (item.start, -item.end)))


def numbers_of(header: str) -> tuple[str, ...]:
    """Give the numbers of a header as written."""
    return tuple(item.text for item in all_places(header))


def without_numbers(header: str) -> Tokens:
    """Give the words of a header in no order, without its numbers."""
    text = hidden(header)
    for place in reversed(all_places(header)):
        text = f"{text[: place.start]} {text[place.end :]}"
    return tuple(sorted(tokens(re.sub(r"[_.:]", " ", text))))


def hidden(header: str) -> str:
    """Blank the brackets of a header, unless they hold a number alone."""
    return _SCALES.sub(lambda part: " " * len(part[0]), header)


def runs(labels: Sequence[str]) -> bool:
    """Tell whether labels are 1, 2, 3, …."""
    return list(labels) == [str(n) for n in range(1, len(labels) + 1)]


def _place(spot: re.Match[str]) -> Place:
    return Place(spot.start(), spot.end(), spot[0])


def _is_time(word: str) -> bool:
    flat = joined(tokens(word))
    return any(item.meaning in _UNITS and joined(item.words) == flat
               for item in read_vocabulary().units)  # fmt: skip
