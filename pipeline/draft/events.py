"""Sheets whose rows are several kinds of event, told by the words of one column."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.draft.codes import understood
from pipeline.draft.columns import KEYS, Meaning, header_meanings, meanings_of
from pipeline.draft.contexts import stem_of
from pipeline.draft.families import Family, in_rows
from pipeline.draft.header import Grid
from pipeline.draft.plain import Tokens, joined, tokens
from pipeline.draft.readings import Tongue, read_as
from pipeline.draft.table import Table, assign
from pipeline.draft.vocabulary import LANGUAGES, Phrase

_MOST_EVENTS = 40  # texts; a column of more is no list of kinds
_AS_THEY_COME = 15  # texts that need not repeat
_LONG = 4  # letters of a word that may stand anywhere in a text: "6 wk recheck"
_TOLD = 0.6  # of the cells, for a draft by kind
_SUSPECT = 0.3  # of the cells, for a question
_MIN_FILLED = 0.02  # of the rows of an event, for a column to belong to it
_HEADERS = ("event", "kind", "recheck_mode", "date")  # meanings that a column of kinds may have
# Codes that announce a row of a kind, where the text is no word for the kind itself.
_ENDS = frozenset({"died", "euthanised", "lost", "discharged", "amputated"})
_AGAIN = frozenset({"implant_removal", "revision_surgery"})
# What the column itself says in rows of a kind, where no other column does.
_SAID: Mapping[str, str] = {"complications": "complication_type", "follow_up": "end_status"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kinds:
    """A column whose texts name kinds of row; `left` are the texts that name none."""

    family: Family
    of: Mapping[str, str]

    @property
    def told(self) -> float:
        """Give the share of its filled cells that name a kind of row."""
        counts = self.family.counts
        return sum(counts[text] for text in self.of) / max(counts.total(), 1)

    @property
    def left(self) -> tuple[str, ...]:
        """List the texts that name no kind of row, the most frequent first."""
        counts = self.family.counts
        return tuple(sorted((text for text in counts if text not in self.of),
                            key=lambda text: (-counts[text], text)))  # fmt: skip

    def texts(self, context: str) -> dict[str, int]:
        """Count the texts of one kind of row, in the order of the sheet."""
        counts = self.family.counts
        return {text: n for text, n in counts.items() if self.of.get(text) == context}


def kinds_of(family: Family, tongue: Tongue) -> Kinds | None:
    """Read a column as kinds of row, in the language that tells most of it; None for one kind."""
    counts = family.counts
    if family.repeat or family.sides or len(counts) < 2:
        return None
    if not is_list(family) and not _says_event(family, tongue):
        return None
    order = (tongue.language, *(name for name in LANGUAGES if name != tongue.language))
    found = [Kinds(family=family, of=_named(counts, tongue, name)) for name in order]
    best = max(found, key=lambda item: item.told)  # the export's own language first
    return best if len(set(best.of.values())) >= 2 and _may_be_kinds(family, tongue) else None


def is_list(family: Family) -> bool:
    """Tell whether a column has few texts, which repeat unless they are very few."""
    counts = family.counts
    few = len(counts) <= _AS_THEY_COME or counts.total() >= 3 * len(counts)
    return few and len(counts) <= _MOST_EVENTS


def column_of_events(
    families: Sequence[Family], grid: Grid, base: str, tongue: Tongue
) -> Kinds | None:
    """Find the column that says of which kind each row is.

    Operations among the kinds settle it, or rechecks beside another kind in a sheet that is none
    of operations; and its header says so, or other columns are filled for some kinds only.
    """
    for family in families:
        found = kinds_of(family, tongue) if is_list(family) else None
        if found is None or found.told < _TOLD:
            continue
        named = set(found.of.values())
        placed = "stifles" in named or ("rechecks" in named and base != "stifles")
        others = [item for item in families if item is not family]
        if placed and (_says_event(family, tongue) or _parts_rows(found, others)):
            return found
    return None


def suspected(families: Sequence[Family], tongue: Tongue) -> list[Kinds]:
    """List the columns that may say of which kind each row is, for a person to settle."""
    found = (kinds_of(item, tongue) for item in families)
    return [item for item in found if item is not None and item.told >= _SUSPECT]


def event_tables(
    grid: Grid, families: Sequence[Family], column: Kinds, tongue: Tongue
) -> list[Table]:
    """Make one table of each kind of row that the column names."""
    cells = column.family.columns[0].cells
    others = [item for item in families if item is not column.family]
    tables: list[Table] = []
    for context in dict.fromkeys(column.of.values()):
        rows = [at for at, cell in enumerate(cells) if column.of.get(cell or "") == context]
        found: list[list[Meaning]] = []
        for item in others:
            counts = in_rows(item, rows)
            if counts.total() >= _MIN_FILLED * len(rows):
                found.append(meanings_of(item, stem_of(item), context, tongue, counts=counts))
        texts = column.texts(context)
        meanings = assign(found, tongue)
        tables.append(
            Table(context=context, grid=grid, event=(column.family.template, texts),
                  meanings=(*meanings, *_said_by(column, context, meanings, tongue)),
                  instead=_instead(found),
                  why=f'column "{column.family.template}" says {", ".join(texts)}')
        )  # fmt: skip
    return tables


def _named(texts: Mapping[str, int], tongue: Tongue, language: str) -> dict[str, str]:
    named = {text: _kind(text, tongue, language) for text in texts}
    return {text: context for text, context in named.items() if context}


def _kind(text: str, tongue: Tongue, language: str) -> str:
    """Name the kind of row of a text: a word for it, what happened, or a word inside it."""
    said = tokens(text)
    phrases = [item for item in tongue.vocabulary.tables if item.language == language]
    whole = [item.meaning for item in phrases if joined(item.words) == joined(said)]
    begins = [item for item in phrases if item.words == said[: len(item.words)]]
    longest = max(begins, key=lambda item: len(item.words), default=None)
    if whole or longest:
        return (whole or [longest.meaning if longest else ""])[0]
    if happened := _happened(said, tongue, language):
        return happened
    held = {item.meaning for item in phrases if _holds(said, item)}
    return held.pop() if len(held) == 1 else ""


def _happened(said: Tokens, tongue: Tongue, language: str) -> str:
    """Read "seroma", "pin removal" and "died" as a complication, a revision and an end."""
    codes, flat = tongue.vocabulary.codes, joined(said)

    def says(variable: str) -> set[str]:
        return {item.code for item in codes[variable]
                if item.language == language and joined(item.words) == flat}  # fmt: skip

    if says("treatment") & _AGAIN:
        return "revisions"
    if says("complication_type") - {"other"}:
        return "complications"
    return "follow_up" if says("end_status") & _ENDS else ""


def _holds(said: Tokens, phrase: Phrase) -> bool:
    width = len(phrase.words)
    return len(joined(phrase.words)) >= _LONG and any(
        said[at : at + width] == phrase.words for at in range(len(said) - width + 1)
    )


def _may_be_kinds(family: Family, tongue: Tongue) -> bool:
    """Refuse a column whose header is a variable's: "Status", "Complication", "Treatment"."""
    if _says_event(family, tongue):
        return True
    scores = header_meanings(stem_of(family), tongue.language)
    others = [score for name, (score, _) in scores.items() if name not in _HEADERS]
    return max(others, default=0.0) < 0.8


def _says_event(family: Family, tongue: Tongue) -> bool:
    scores = header_meanings(stem_of(family), tongue.language)
    return max(scores.get(name, (0.0, ""))[0] for name in ("event", "kind")) >= 0.8


def _parts_rows(column: Kinds, others: Sequence[Family]) -> bool:
    """Tell whether several other columns are filled for some kinds of row and blank for others."""
    cells = column.family.columns[0].cells
    rows = {context: [at for at, cell in enumerate(cells) if column.of.get(cell or "") == context]
            for context in dict.fromkeys(column.of.values())}  # fmt: skip
    parting = 0
    for item in others:
        shares = [in_rows(item, at).total() / len(at) for at in rows.values()]
        parting += max(shares) >= 0.5 and min(shares) <= 0.1
    return parting >= 2 and 3 * parting >= len(others) - len(KEYS)


def _said_by(
    column: Kinds, context: str, meanings: Sequence[Meaning], tongue: Tongue
) -> tuple[Meaning, ...]:
    """Read what happened from the column of events itself: "seroma", "died"."""
    name = _SAID.get(context, "")
    if not name or any(item.reading.variable == name for item in meanings):
        return ()
    counts = column.family.counts
    own = {text: counts[text] for text in column.texts(context)}
    return _meaning(name, column.family, own, tongue)


def _meaning(
    name: str, family: Family, own: Mapping[str, int], tongue: Tongue
) -> tuple[Meaning, ...]:
    counts = type(family.counts)(own)
    reading = read_as(name, name, family, tongue=tongue, counts=counts)
    known = reading.facts.understood if reading.facts else understood(reading.codes)
    if not known:
        return ()
    return (Meaning(family=family, counts=counts, header_score=0.0, phrase="", reading=reading),)


def _instead(found: Sequence[Sequence[Meaning]]) -> tuple[Meaning, ...]:
    """Find a second column for the day of a recheck: a time since the operation."""
    days = [item for items in found for item in items[:1]
            if item.reading.variable == "recheck_day" and item.header_score >= 0.8]  # fmt: skip
    dated = any(item.reading.how == "date" for item in days)
    return tuple(item for item in days if dated and item.reading.how in ("duration", "number"))
