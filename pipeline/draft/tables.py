"""The rows an export would make: kinds of row, their columns and what each means."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.draft.columns import Meaning, header_meanings, meanings_of
from pipeline.draft.contexts import (
    base_context,
    elsewhere,
    events_of,
    prefix_of,
    stem_of,
    stems_to_try,
    table_of,
)
from pipeline.draft.families import Family, find_families, in_rows
from pipeline.draft.header import Grid
from pipeline.draft.kinds import without_no
from pipeline.draft.readings import Tongue

_CORE: Mapping[str, tuple[str, ...]] = {
    "rechecks": ("recheck_day", "patella_grade"), "complications": ("complication_type",),
    "revisions": ("revision_day", "revision_reason"),
}  # fmt: skip
_TWINS: Mapping[str, set[str]] = {  # one cell that says two variables
    "count_by_size": {"kwire_count", "kwire_diameter_mm"},
    "yes_with_size": {"tension_band_done", "tb_wire_diameter_mm"},
}
_NO_EVENTS: Mapping[str, int] = {}
_MIN_FILLED = 0.02  # of the rows of an event, for a column to belong to it


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of one kind from one sheet.

    Attributes
    ----------
    context
        Kind of row; see columns.CONTEXTS.
    meanings
        What the columns mean, one variable and one family each, in the order of the sheet.
    event
        Header of the column of events and its texts that make such rows.
    repeat
        How often its columns repeat; 0 for not.
    instead
        What gives the day of a recheck where its date is not filled.
    why
        Why rows of this kind are thought to be here.
    """

    context: str
    grid: Grid
    meanings: tuple[Meaning, ...]
    why: str
    event: tuple[str, Mapping[str, int]] = ("", _NO_EVENTS)
    repeat: int = 0
    instead: tuple[Meaning, ...] = ()

    def meaning(self, variable: str) -> Meaning | None:
        """Give what was found for a variable."""
        return next((item for item in self.meanings if item.reading.variable == variable), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetDraft:
    """One sheet: the rows it makes, the columns nobody understood, the refused ones."""

    grid: Grid
    tables: tuple[Table, ...]
    unknown: tuple[Family, ...]
    comments: tuple[Family, ...]
    identifiers: tuple[Family, ...]


def draft_sheet(grid: Grid, tongue: Tongue) -> SheetDraft:
    """Work out what the rows and columns of one sheet mean."""
    families = find_families(grid, tongue.vocabulary)
    identifiers = [item for item in families if item.identifier]
    comments = [item for item in families if not item.identifier and _is_comment(item, tongue)]
    rest = [item for item in families if item not in identifiers and item not in comments]
    tables = _event_tables(grid, rest, tongue) or _plain_tables(grid, rest, tongue)
    used = {item.family.template for table in tables for item in table.meanings}
    used |= {table.event[0] for table in tables}
    used |= {item.family.template for table in tables for item in table.instead}
    unknown = [item for item in rest if item.template not in used]
    return SheetDraft(
        grid=grid, tables=tuple(tables), unknown=tuple(unknown), comments=tuple(comments),
        identifiers=tuple(identifiers),
    )  # fmt: skip


def _is_comment(family: Family, tongue: Tongue) -> bool:
    """Tell free text: a header that says so, or long texts that seldom repeat."""
    scores = dict(header_meanings(stem_of(family), tongue.language))
    score = scores.pop("comment", (0.0, ""))[0]
    return score >= 0.8 and score > max((item[0] for item in scores.values()), default=0.0)


def _event_tables(grid: Grid, families: Sequence[Family], tongue: Tongue) -> list[Table]:
    for family in families:
        events = events_of(family, tongue)
        if not events:
            continue
        cells = family.columns[0].cells
        others = [item for item in families if item is not family]
        tables: list[Table] = []
        for context in dict.fromkeys(events.values()):
            rows = [at for at, cell in enumerate(cells) if events.get(cell or "") == context]
            found: list[list[Meaning]] = []
            for item in others:
                counts = in_rows(item, rows)
                if counts.total() >= _MIN_FILLED * len(rows):
                    found.append(meanings_of(item, stem_of(item), context, tongue, counts=counts))
            texts = {text: n for text, n in family.counts.items() if events.get(text) == context}
            tables.append(
                Table(context=context, grid=grid, meanings=_assign(found, tongue),
                      event=(family.template, texts), instead=_instead(found),
                      why=f'column "{family.template}" says {", ".join(texts)}')
            )  # fmt: skip
        return tables
    return []


def _plain_tables(grid: Grid, families: Sequence[Family], tongue: Tongue) -> list[Table]:
    single = [item for item in families if not item.repeat]
    base, why = base_context(grid, single, tongue)
    groups: dict[str, list[list[Meaning]]] = {base: []}
    for item in single:
        here = meanings_of(item, stem_of(item), base, tongue, counts=item.counts)
        context, found = elsewhere(item, base, tongue, here=here)
        groups.setdefault(context, []).append(found)
    tables: list[Table] = []
    for context, found in groups.items():
        meanings = _assign(found, tongue)
        named = {item.reading.variable for item in meanings}
        if context == base:
            tables.append(Table(context=base, grid=grid, meanings=meanings, why=why))
        elif named & set(_CORE[context]):
            text = ", ".join(f'"{item.family.template}"' for item in meanings)
            tables.append(Table(context=context, grid=grid, meanings=meanings,
                                why=f"columns {text}"))  # fmt: skip
    return [*tables, *_repeated(grid, families, tongue)]


def _repeated(grid: Grid, families: Sequence[Family], tongue: Tongue) -> list[Table]:
    """Make a table of each group of columns that repeat under one prefix."""
    groups: dict[tuple[str, str], list[Family]] = {}
    for item in families:
        prefix = prefix_of(item)
        context = table_of(prefix, tongue.language, tongue.vocabulary.tables)
        if item.repeat and context in _CORE:
            groups.setdefault((context, prefix), []).append(item)
    tables: list[Table] = []
    for (context, prefix), members in groups.items():
        found = [
            meanings_of(item, stem, context, tongue, counts=item.counts)
            for item in members for stem in stems_to_try(item, context, tongue)
        ]  # fmt: skip
        tables.append(
            Table(context=context, grid=grid, meanings=_assign(found, tongue),
                  repeat=max(item.repeat for item in members),
                  why=f'columns "{prefix}1 …" to "{prefix}{members[0].repeat} …"')
        )  # fmt: skip
    return tables


def _instead(found: Sequence[Sequence[Meaning]]) -> tuple[Meaning, ...]:
    """Find a second column for the day of a recheck: a time since the operation."""
    days = [item for items in found for item in items[:1]
            if item.reading.variable == "recheck_day" and item.header_score >= 0.8]  # fmt: skip
    dated = any(item.reading.how == "date" for item in days)
    return tuple(item for item in days if dated and item.reading.how in ("duration", "number"))


def _assign(found: Sequence[Sequence[Meaning]], tongue: Tongue) -> tuple[Meaning, ...]:
    """Give each family one variable and each variable one family, the likeliest pairs first."""
    pairs = sorted(
        (item for items in found for item in items),
        key=lambda item: (-item.score, item.family.columns[0].place, item.reading.variable),
    )
    taken: set[str] = set()
    used: set[str] = set()
    kept: list[Meaning] = []
    for item in pairs:
        name = item.reading.variable
        if item.family.template in used or name in taken or item.score < 0.4:
            continue
        used.add(item.family.template)
        taken |= _TWINS.get(item.reading.how, {name})
        kept.append(item)
    kept.sort(key=lambda item: item.family.columns[0].place)
    return without_no(kept, found, tongue)
