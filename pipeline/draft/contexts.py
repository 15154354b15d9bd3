"""Which kind of row a sheet, a group of repeated columns, or an event is."""

import re
from collections.abc import Mapping, Sequence

from pipeline.draft.columns import Meaning, meanings_of
from pipeline.draft.dates import date_share
from pipeline.draft.families import Family
from pipeline.draft.header import Grid
from pipeline.draft.plain import Tokens, joined, likeness, tokens
from pipeline.draft.readings import Tongue
from pipeline.draft.vocabulary import LANGUAGES, Phrase

_MOST_EVENTS = 15
_MARKS = " ._-:"
_OTHERS: Mapping[str, tuple[str, ...]] = {
    "stifles": ("rechecks", "complications", "revisions"), "rechecks": ("complications",),
    "complications": ("revisions",), "revisions": (), "animals": (),
}  # fmt: skip


def table_of(text: str, language: str, phrases: Sequence[Phrase]) -> str:
    """Name the kind of row a word announces ("Kontr", "Complications"), "" for none."""
    words = tuple(word for word in tokens(text) if not word.isdecimal())
    best: tuple[float, str] = (0.0, "")
    for phrase in phrases:
        score = _announces(words, phrase.words) - (0 if phrase.language == language else 0.1)
        best = max(best, (score, phrase.meaning), key=lambda pair: pair[0])
    return best[1] if best[0] >= 0.5 else ""


def _announces(words: Tokens, phrase: Tokens) -> float:
    """Weigh a whole phrase, its beginning ("Kontr", "Compl"), or the phrase inside a name."""
    if joined(words) == joined(phrase):
        return 1.0
    short, long = joined(words), joined(phrase)
    if len(short) >= 2 and long.startswith(short):
        return 0.62 if len(short) >= 3 else 0.5
    return min(likeness(words, phrase), 0.9)


def events_of(family: Family, tongue: Tongue) -> dict[str, str]:
    """Read a column as kinds of event: text -> kind of row; empty if it is none.

    It is one if its few texts name at least two kinds of row, operations among them, in one
    language.
    """
    counts = family.counts
    if family.repeat or family.sides or not 2 <= len(counts) <= _MOST_EVENTS:
        return {}
    order = (tongue.language, *(name for name in LANGUAGES if name != tongue.language))
    for language in order:
        phrases = [item for item in tongue.vocabulary.tables if item.language == language]
        found = {text: _event(text, phrases) for text in counts}
        known = {text: table for text, table in found.items() if table}
        told = sum(counts[text] for text in known)
        kinds = set(known.values())
        if len(kinds) >= 2 and "stifles" in kinds and told >= 0.8 * counts.total():
            return known
    return {}


def _event(text: str, phrases: Sequence[Phrase]) -> str:
    words = tokens(text)
    exact = [item.meaning for item in phrases if joined(item.words) == joined(words)]
    inside = [item for item in phrases if item.words == words[: len(item.words)]]
    longest = max(inside, key=lambda item: len(item.words), default=None)
    return (exact or ([longest.meaning] if longest else [""]))[0]


def base_context(grid: Grid, families: Sequence[Family], tongue: Tongue) -> tuple[str, str]:
    """Say what a row of a sheet is by default, and why."""
    title = grid.raw.sheet or grid.raw.path.stem
    language, phrases = tongue.language, tongue.vocabulary.tables
    named = table_of(re.sub(r"[_-]+", " ", title), language, phrases)
    weight: dict[str, float] = {}
    operated = False
    for context in ("stifles", "rechecks", "complications", "revisions", "animals"):
        best = [found[0] for item in families
                if (found := meanings_of(item, stem_of(item), context, tongue,
                                         counts=item.counts))]  # fmt: skip
        weight[context] = sum(item.score for item in best if item.header_score >= 0.6)
        if context == "stifles":
            operated = any(item.reading.variable == "surgery_date" for item in best)
    top = max(weight, key=lambda name: weight[name])
    if named in weight and weight[named] >= 0.4 * weight[top]:
        return named, f'its name "{title}"'
    if top == "stifles" and not operated:
        top = "animals" if weight["animals"] >= 0.5 * weight["stifles"] else top
    return top, "what its columns say"


def stem_of(family: Family) -> str:
    """Give a family's header without the marks of number and side, and the word before a number.

    "Patella Kontr{n} {s}" says "Patella".
    """
    plain = family.template.replace("{s}", " ")
    if family.repeat:
        before, _, after = plain.partition("{n}")
        plain = f"{before.strip(_MARKS).removesuffix(prefix_of(family))} {after}"
    return re.sub(r"^[\s._:-]+|[\s._:-]+$", "", re.sub(r"\s+", " ", plain))


def prefix_of(family: Family) -> str:
    """Give the word before the number of a repeated header: "Kontr" of "Patella Kontr{n} li"."""
    before, _, after = family.template.replace("{s}", " ").partition("{n}")
    words = re.findall(r"[^\s_:-]+", before) or [after.strip(_MARKS)]
    return words[-1].strip(_MARKS) if before.strip(_MARKS) else words[0]


def stems_to_try(family: Family, context: str, tongue: Tongue) -> list[str]:
    """Give the words that a repeated column is read by; a bare number says what is usual."""
    stem = stem_of(family)
    if tokens(re.sub(r"[(\[].*?[)\]]", " ", stem)):
        return [stem]
    counts = family.counts
    numbers = sum(n for text, n in counts.items() if tongue.marks.number(text) is not None)
    dated = date_share(counts) >= 0.5 or numbers >= 0.5 * max(counts.total(), 1)
    usual = {
        "rechecks": "recheck date" if dated else "exam",
        "complications": "complication date" if dated else "complication",
        "revisions": "revision date" if dated else "reason",
    }  # fmt: skip
    return [usual.get(context, family.template)]


def elsewhere(
    family: Family, base: str, tongue: Tongue, *, here: Sequence[Meaning]
) -> tuple[str, list[Meaning]]:
    """Find another kind of row that a column of a sheet speaks of: "Reoperation date"."""
    best_here = max((item.header_score for item in here), default=0.0)
    best: tuple[float, str, list[Meaning]] = (best_here + 0.12, base, list(here))
    for context in _OTHERS.get(base, ()):
        found = meanings_of(family, stem_of(family), context, tongue, counts=family.counts)
        found = [item for item in found if item.reading.variable not in ("local_animal", "side")]
        score = max((item.header_score for item in found), default=0.0)
        if score > best[0]:
            best = (score, context, found)
    return best[1], best[2]
