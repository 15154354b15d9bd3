"""Columns that each ask for one kind: "Wedge recession: no" does not say that none was done."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.draft.codes import CodeGuess
from pipeline.draft.columns import Meaning
from pipeline.draft.contexts import stem_of
from pipeline.draft.facts import Fact
from pipeline.draft.plain import joined, tokens
from pipeline.draft.readings import Reading, Tongue, yes_or_no
from pipeline.draft.toml_text import inline, quoted
from pipeline.draft.units import bare

NONE = "none"
_ANSWERS = (NONE, "false")
_LONG = 4  # letters of a word that may stand inside a compound: "Keilrezession"
_TWICE = '; a "no" may stand beside a "yes" in another column'


def without_no(
    kept: Sequence[Meaning], found: Sequence[Sequence[Meaning]], tongue: Tongue
) -> tuple[Meaning, ...]:
    """Take the code from answers of columns that name one kind, or of which there are several."""
    used = {item.family.template for item in kept}
    return tuple(_settled(item, found, used, tongue) for item in kept)


def named_kind(header: str, variable: str, tongue: Tongue) -> str:
    """Give the code of a variable that a header names, "" for none: "Trochléoplastie en V"."""
    vocabulary = tongue.vocabulary
    words = tokens(bare(header, vocabulary, tongue.language))
    general = {joined(item.words) for item in vocabulary.columns if item.meaning == variable}
    if joined(words) in general:
        return ""
    for item in vocabulary.codes.get(variable, ()):
        flat = joined(item.words)
        if item.code in (NONE, "true", "false") or item.code.startswith("!") or flat in general:
            continue
        width = len(item.words)
        inside = any(words[at : at + width] == item.words for at in range(len(words)))
        if inside or (len(flat) >= _LONG and any(flat in word for word in words)):
            return item.code
    return ""


def answers(meaning: Meaning, tongue: Tongue) -> list[str]:
    """List the texts of a column that are a yes or a no."""
    return [text for text in sorted(meaning.counts) if yes_or_no(text, tongue)]


def _settled(
    item: Meaning, found: Sequence[Sequence[Meaning]], used: set[str], tongue: Tongue
) -> Meaning:
    name, reading = item.reading.variable, item.reading
    variable = tongue.variables.get(name)
    if reading.how not in ("codes", "facts") or not variable or not answers(item, tongue):
        return item
    others = [
        other[0].family.template for other in found
        if other and other[0].reading.variable == name and other[0].family.template not in used
        and answers(other[0], tongue)
    ]  # fmt: skip
    kind = "" if variable.kind == "bool" else named_kind(stem_of(item.family), name, tongue)
    if not others and not kind:
        return item
    joins = (item.family.template, *others)
    read = _silenced(reading, joins, tongue)
    return replace(item, reading=replace(read, example=_example(item, joins, tongue)))


def _example(item: Meaning, joins: tuple[str, ...], tongue: Tongue) -> str:
    """Write how two such columns are read as one, with the codes that their headers name."""
    told = {yes_or_no(text, tongue): text for text in answers(item, tongue)}
    yes, no = told.get("true", "yes"), told.get("false", "no")
    pair = (*joins, "the other column")[:2]
    first, second = (named_kind(name, item.reading.variable, tongue) or f"the code of {name}"
                     for name in pair)  # fmt: skip
    codes = {f"{yes} | {no}": quoted(first), f"{no} | {yes}": quoted(second),
             f"{no} | {no}": quoted(NONE)}  # fmt: skip
    return inline({"column": f"[{', '.join(map(quoted, pair))}]", "codes": inline(codes)})


def _silenced(reading: Reading, joins: tuple[str, ...], tongue: Tongue) -> Reading:
    facts = reading.facts
    return replace(
        reading, joins=joins, evidence=reading.evidence + _TWICE,
        codes=tuple(_without(item, tongue) for item in reading.codes),
        facts=facts and replace(facts, items=tuple(_unsaid(item, tongue) for item in facts.items)),
    )  # fmt: skip


def _without(item: CodeGuess, tongue: Tongue) -> CodeGuess:
    if item.code not in _ANSWERS and not yes_or_no(item.text, tongue):
        return item
    return CodeGuess(text=item.text, n=item.n, evidence="an answer about one kind alone")


def _unsaid(item: Fact, tongue: Tongue) -> Fact:
    if not yes_or_no(item.text, tongue):
        return item
    return Fact(text=item.text, n=item.n, left=(item.text,))
