"""The cells of a column read as one variable, and how well that fits."""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from pipeline.draft.codes import CodeGuess, guess_codes, missing_reason, understood
from pipeline.draft.dates import date_share
from pipeline.draft.facts import Facts, guess_facts
from pipeline.draft.families import Family
from pipeline.draft.numbers import Marks, time_units
from pipeline.draft.units import (
    UnitGuess,
    cell_units,
    guess_unit,
    mixed_units,
    number_of,
    scale_top,
    unit_word,
)
from pipeline.draft.vocabulary import Vocabulary, meant
from schemas.codebook import Variable

MOST_CODES = 80  # a column with more texts is no code list; the most frequent are shown
OFTEN_EACH = 0.15  # of the rows of one animal: with more rows each, a column may be sex or breed
BY_SIZE = re.compile(r"^([1-4])\s*[xX×*]\s*(\d+(?:[.,]\d+)?)$")
WITH_SIZE = re.compile(r"^([^\W\d_]+)(?:\s+(\d+(?:[.,]\d+)?))?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tongue:
    """How this export writes: its language, its numbers, the words and the codebook."""

    language: str
    marks: Marks
    vocabulary: Vocabulary
    variables: Mapping[str, Variable]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How the cells of a family would be read as one variable, and how well that fits.

    `how` is number, score, date, birth_date, duration, codes, facts, text or pattern. `joins`
    names columns that may have to be read together, this one first, and `example` writes how.
    """

    variable: str
    fit: float
    how: str
    evidence: str = ""
    codes: tuple[CodeGuess, ...] = ()
    facts: Facts | None = None
    unit: UnitGuess | None = None
    out_of: int | None = None
    durations: Mapping[str, str] = field(default_factory=dict[str, str])
    units: Mapping[str, str] = field(default_factory=dict[str, str])  # by the word in the cell
    joins: tuple[str, ...] = ()
    example: str = ""


def read_as(
    name: str, meaning: str, family: Family, *, tongue: Tongue, counts: Counter[str]
) -> Reading:
    """Try to read the cells of a family as one variable."""
    if name in tongue.vocabulary.together:
        facts = guess_facts(counts, name, tongue.vocabulary, language=tongue.language)
        says_why = any(item.missing for item in facts.items)
        if name == "technique" or says_why or len(facts.variables) > 1:
            why = f"{facts.n_told} of {facts.n_asked} parts are known"
            return Reading(variable=name, fit=facts.understood if counts else 0.5, how="facts",
                           facts=facts, evidence=why)  # fmt: skip
    variable = tongue.variables[name]
    asked = Counter({text: n for text, n in counts.items()
                     if not missing_reason(text, tongue.language)})  # fmt: skip
    if sized := _as_sized(name, asked, tongue):
        return sized
    if meaning == "birth_date" or variable.kind == "date" or variable.unit == "day":
        share = date_share(asked)
        if share >= 0.5 or variable.kind == "date" or meaning == "birth_date":
            how = "birth_date" if meaning == "birth_date" else "date"
            return Reading(variable=name, fit=share if asked else 0.5, how=how,
                           evidence=f"{round(share * asked.total())} of {asked.total()} values "
                           "are dates")  # fmt: skip
    if variable.kind == "string" and name != "breed":
        return _as_text(name, asked)
    if variable.codes or variable.kind == "bool" or name == "breed":
        return _as_codes(variable, counts, tongue)
    return _as_number(variable, asked, family, tongue)


def _as_text(name: str, counts: Counter[str]) -> Reading:
    """Judge a code of an animal, stifle or surgeon by how often each repeats."""
    filled = counts.total()
    share = len(counts) / max(filled, 1)
    dates = date_share(counts)
    short = sum(n for text, n in counts.items() if len(text) <= 24) / max(filled, 1)
    told = share <= 0.3 if name == "surgeon_id" else share >= OFTEN_EACH
    likely = 1.0 if told else 0.8 if share > 0.02 else 0.3
    fit = likely * short * (1 - dates) if filled else 0.5
    return Reading(variable=name, fit=fit, how="text",
                   evidence=f"{len(counts)} different codes in {filled} cells")  # fmt: skip


def _as_sized(name: str, counts: Counter[str], tongue: Tongue) -> Reading | None:
    """Read "2x1,2" (wires by their size) and "si 0,8" (band and the size of its wire)."""
    if name in ("kwire_count", "kwire_diameter_mm"):
        how, told = "count_by_size", sum(n for text, n in counts.items() if BY_SIZE.match(text))
    elif name in ("tension_band_done", "tb_wire_diameter_mm"):
        how, answers = "yes_with_size", Counter[str]()
        for text, n in counts.items():
            if (found := WITH_SIZE.match(text)) and yes_or_no(found[1], tongue):
                answers[yes_or_no(found[1], tongue)] += n
        sized = any(found[2] for text in counts if (found := WITH_SIZE.match(text)))
        told = answers.total() if sized else 0
    else:
        return None
    if told < 0.6 * counts.total() or not told:
        return None
    return Reading(variable=name, fit=told / counts.total(), how=how,
                   evidence=f"{told} of {counts.total()} cells say it with a size")  # fmt: skip


def yes_or_no(text: str, tongue: Tongue) -> str:
    """Read yes as "true", no as "false", else ""."""
    for name in ("*yes", "*no"):
        if found := meant(text, tongue.vocabulary.codes[name], tongue.language):
            return found.code
    return ""


def _as_codes(variable: Variable, counts: Counter[str], tongue: Tongue) -> Reading:
    out_of = _out_of(counts)
    if variable.kind == "int" and out_of:
        return Reading(variable=variable.name, fit=1.0, how="score", out_of=out_of,
                       evidence=f'written "n/{out_of}"')  # fmt: skip
    shown = Counter(dict(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))[:MOST_CODES]))
    codes = guess_codes(shown, variable, tongue.vocabulary, language=tongue.language)
    fit = understood(codes) * shown.total() / max(counts.total(), 1)
    if variable.name == "breed" and counts:  # breeds nobody listed are kept as they are written
        fit = 0.5 + 0.5 * fit if len(counts) < 0.7 * counts.total() else 0.3
    known = sum(bool(item.code) for item in codes)
    return Reading(variable=variable.name, fit=fit if counts else 0.5, how="codes", codes=codes,
                   evidence=f"{known} of {len(codes)} texts are known words")  # fmt: skip


def _as_number(variable: Variable, counts: Counter[str], family: Family, tongue: Tongue) -> Reading:
    name, filled = variable.name, counts.total()
    times = [time_units(text, tongue.vocabulary, tongue.language) for text in counts]
    if variable.unit in ("day", "month") and filled:
        told = sum(n for n, units in zip(counts.values(), times, strict=True) if units)
        if told >= 0.6 * filled:
            words = {word: unit for units in times if units for word, unit in units.items()}
            return Reading(variable=name, fit=told / filled, how="duration", durations=words,
                           evidence=f"{told} of {filled} are times with a unit")  # fmt: skip
    out_of = _out_of(counts, plain=True)
    if out_of:
        told = sum(n for text, n in counts.items() if "/" in text)
        return Reading(variable=name, fit=1.0, how="score", out_of=out_of,
                       evidence=f'written "n/{out_of}" in {told} of {filled} cells')  # fmt: skip
    if units := cell_units(counts, variable, tongue.vocabulary, language=tongue.language):
        told = sum(
            n
            for text, n in counts.items()
            if unit_word(text) and tongue.marks.number(number_of(text)) is not None
        )
        return Reading(variable=name, fit=told / filled, how="number", units=units,
                       evidence=f"{told} of {filled} are numbers with a unit")  # fmt: skip
    numbers = [
        number for text, n in counts.items() if (number := tongue.marks.number(text)) is not None
        for _ in range(n)
    ]  # fmt: skip
    header = family.template
    unit = guess_unit(header, numbers, variable, tongue.vocabulary, language=tongue.language)
    share = len(numbers) / filled if filled else 0.5
    spread = f", {min(numbers):g} to {max(numbers):g}" if numbers else ""
    evidence = f"{len(numbers)} of {filled} are numbers{spread}"
    if top := scale_top(header):
        evidence += f"; scale to {top} in the header"
    own = {"day": "days", "month": "months"}.get(variable.unit, variable.unit)
    mixed = mixed_units(counts, variable, tongue.vocabulary, language=tongue.language)
    if mixed:
        return Reading(variable=name, fit=share, how="number", evidence=f"{evidence}; "
                       "some with a unit", unit=UnitGuess(unit="", evidence=unit.evidence,
                       proved=False), units={"": unit.unit or own, **mixed})  # fmt: skip
    return Reading(variable=name, fit=share, how="number", unit=unit, evidence=evidence)


def _out_of(counts: Counter[str], *, plain: bool = False) -> int | None:
    """Read "5/9": the same whole in nearly every cell, or beside plain numbers below it."""
    wholes: Counter[str] = Counter()
    for text, n in counts.items():
        one, mark, whole = text.partition("/")
        if mark and one.strip().isdecimal() and whole.strip() in ("4", "5", "9", "10"):
            wholes[whole.strip()] += n
    if not wholes:
        return None
    whole, n = wholes.most_common(1)[0]
    if plain and n >= 0.9 * wholes.total():
        n += sum(many for text, many in counts.items() if text.isdecimal()
                 and int(text) <= int(whole))  # fmt: skip
    return int(whole) if n >= 0.9 * counts.total() else None
