"""The unit of a column: written in its header, or else the one that its numbers allow."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from pipeline.draft.plain import joined, tokens
from pipeline.draft.vocabulary import Vocabulary
from pipeline.intake.grammar import UNITS_TO
from schemas.codebook import Variable

GAUGE_MM = {"24": 0.5, "22": 0.64, "20": 0.8, "18": 1.0}  # usual orthopaedic wire (codebook)
ENOUGH = 30  # numbers, for their range alone to settle a unit
_BRACKETS = re.compile(r"[(\[]\s*([^)\]]*?)\s*[)\]]")
_WITH_UNIT = re.compile(r"([-+]?(?:\d+(?:[.,]\d+)?|[.,]\d+))\s*([^\W\d_]+|[\"”″]|'')\.?")
_GAUGES = range(14, 31)  # of orthopaedic wire and thin pins; a number so high is no diameter in mm
_SCALE = re.compile(r"(?:/|0\s*[-–]|1\s*[-–]|out of|sur|von|de)\s*(4|5|9|10)\s*[)\]]?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitGuess:
    """A unit ("" = the codebook's own), why, and whether the header says it."""

    unit: str
    evidence: str
    proved: bool


def scale_top(header: str) -> int | None:
    """Read the top of a score's scale from a header: "Lameness (0-5)", "Boiterie /5"."""
    found = _SCALE.search(header.strip())
    return int(found[1]) if found else None


def header_units(header: str, vocabulary: Vocabulary, language: str) -> tuple[str, ...]:
    """Name the units a header may mean, likeliest first: "Weight (lb)", "peso_g", "Alter in J"."""
    spots = [found[1] for found in _BRACKETS.finditer(header)]
    words = re.split(r"[\s_]+", _BRACKETS.sub(" ", header).strip())
    last = words[-1] if len(words) > 1 else ""
    if len(last) > 1 or (last and header.endswith(f"_{last}")):
        spots.append(last)
    found: list[str] = []
    for spot in spots:
        fits = [item for item in vocabulary.units if joined(item.words) == joined(tokens(spot))]
        own = [item.meaning for item in fits if item.language == language]
        found += [*own, *(item.meaning for item in fits)]
    return tuple(dict.fromkeys(found))


def bare(header: str, vocabulary: Vocabulary, language: str) -> str:
    """Give a header without unit and scale."""
    plain = header
    for found in _BRACKETS.finditer(header):
        if header_units(f"x ({found[1]})", vocabulary, language) or scale_top(found[0]):
            plain = plain.replace(found[0], " ")
    plain = _SCALE.sub(" ", plain.strip()).strip()
    words = re.split(r"[\s_]+", plain)
    if len(words) > 1 and header_units(f"x_{words[-1]}", vocabulary, language):
        plain = re.sub(r"[\s_]+$", "", plain[: plain.rindex(words[-1])])
    return plain or header


def unit_word(text: str) -> str:
    """Give the word behind a number, "lbs" of "12.3 lbs", "" for none."""
    found = _WITH_UNIT.fullmatch(text)
    return found[2] if found else ""


def number_of(text: str) -> str:
    """Give the number before a word, "12.3" of "12.3 lbs", "" for none."""
    found = _WITH_UNIT.fullmatch(text)
    return found[1] if found else ""


def gauge_of(text: str, units: Mapping[str, str]) -> str:
    """Give the gauge of "20G" or "20" where the mapping reads its word as gauges, else ""."""
    found = _WITH_UNIT.fullmatch(text)
    number, word = (found[1], found[2].lower()) if found else (text, "")
    return number if number.isdecimal() and units.get(word) == "gauge" else ""


def cell_units(
    counts: Counter[str], variable: Variable, vocabulary: Vocabulary, *, language: str
) -> dict[str, str]:
    """Read the units that stand in most cells behind the number; empty if one is unknown."""
    found, told = _told_units(counts, variable, vocabulary, language)
    if not counts or told < 0.6 * counts.total():
        return {}
    return {"": "gauge", **found} if "gauge" in found.values() and _bare_gauges(counts) else found


def mixed_units(
    counts: Counter[str], variable: Variable, vocabulary: Vocabulary, *, language: str
) -> dict[str, str]:
    """Read the units that stand in some cells only, beside numbers without one."""
    return _told_units(counts, variable, vocabulary, language)[0]


def _told_units(
    counts: Counter[str], variable: Variable, vocabulary: Vocabulary, language: str
) -> tuple[dict[str, str], int]:
    """Give the unit of each word that is known, and in how many cells one stands."""
    choices = {*UNITS_TO.get(variable.unit, {}), *(("gauge",) if variable.unit == "mm" else ())}
    words = Counter[str]()
    for text, n in counts.items():
        if word := unit_word(text):
            words[word.lower()] += n
    found: dict[str, str] = {}
    for word in sorted(words):
        fits = [
            item for item in vocabulary.units
            if item.meaning in choices and joined(item.words) == joined(tokens(word))
        ]  # fmt: skip
        own = [item for item in fits if item.language == language]
        if fits:
            found[word] = (own or fits)[0].meaning
    return found, sum(n for word, n in words.items() if word in found)


def _bare_gauges(counts: Counter[str]) -> bool:
    """Tell whether there are numbers without a unit, and all of them can be gauges only."""
    bare_ones = [text for text in counts if text.isdecimal()]
    return bool(bare_ones) and all(int(text) in _GAUGES for text in bare_ones)


def guess_unit(
    header: str, numbers: Sequence[float], variable: Variable, vocabulary: Vocabulary, *,
    language: str,
) -> UnitGuess:  # fmt: skip
    """Guess the unit of a column of numbers for one variable."""
    choices = dict(UNITS_TO.get(variable.unit, {}))
    if not choices:
        return UnitGuess(unit="", evidence="", proved=True)
    own = {"day": "days", "month": "months"}.get(variable.unit, variable.unit)
    for unit in header_units(header, vocabulary, language):
        if unit in choices or (unit == "gauge" and variable.unit == "mm"):
            shown = "" if unit == own else unit
            return UnitGuess(unit=shown, evidence=f"{unit} in the header", proved=True)
    if not numbers or variable.usual is None:
        return UnitGuess(unit="", evidence=f"no unit in the header; {own} taken", proved=False)
    if variable.unit == "mm" and all(number in (18, 20, 22, 24) for number in numbers):
        return UnitGuess(unit="gauge", evidence="only 18, 20, 22, 24: wire gauges", proved=False)
    fits = [unit for unit, factor in choices.items() if _fits(numbers, variable, factor)]
    unit = own if own in fits else (fits[0] if fits else own)
    middle = f"{median(numbers):g}"
    proved = fits == [own] and len(numbers) >= ENOUGH
    why = f"no unit in the header; median {middle}, possible as " + (" or ".join(fits) or "none")
    return UnitGuess(unit="" if unit == own else unit, evidence=why, proved=proved)


def _fits(numbers: Sequence[float], variable: Variable, factor: float) -> bool:
    """Tell whether so read the middle is usual and nearly all lie within the hard limits."""
    assert variable.usual is not None
    assert variable.limits is not None
    low, high = map(float, variable.limits)
    inside = sum(low <= number * factor <= high for number in numbers)
    usual = float(variable.usual[0]) <= median(numbers) * factor <= float(variable.usual[1])
    return usual and inside >= 0.95 * len(numbers)
