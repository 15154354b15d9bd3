"""The rows an export would make: kinds of row, their columns and what each means."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.draft.columns import Meaning, header_meanings, meanings_of
from pipeline.draft.contexts import (
    base_context,
    elsewhere,
    group_of,
    of_a_visit,
    stem_of,
)
from pipeline.draft.day_columns import with_days
from pipeline.draft.events import Kinds, column_of_events, event_tables, suspected
from pipeline.draft.families import Family, find_families
from pipeline.draft.header import Grid
from pipeline.draft.places import numbers_of
from pipeline.draft.readings import Tongue
from pipeline.draft.repeated import repeated_tables
from pipeline.draft.table import CORE, Table, assign

_SAYS_IT = 0.9  # header score of a column that is nothing but its phrase: "last recheck"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetDraft:
    """One sheet: the rows it makes, the columns nobody understood, the refused ones.

    `loose` columns, unknown too, say the same under different numbers without being a block.
    `events` is the column that says of which kind each row is, `mixed` those that may say it.
    """

    grid: Grid
    tables: tuple[Table, ...]
    unknown: tuple[Family, ...]
    loose: tuple[Family, ...]
    comments: tuple[Family, ...]
    identifiers: tuple[Family, ...]
    events: Kinds | None = None
    mixed: tuple[Kinds, ...] = ()


def draft_sheet(grid: Grid, tongue: Tongue) -> SheetDraft:
    """Work out what the rows and columns of one sheet mean."""
    families = find_families(grid, tongue.vocabulary)
    identifiers = [item for item in families if item.identifier]
    comments = [item for item in families if not item.identifier and _is_comment(item, tongue)]
    others = [item for item in families if item not in identifiers and item not in comments]
    loose = _loose(others, tongue)
    rest = [item for item in others if item not in loose]
    single = [item for item in rest if not item.repeat]
    base, why = base_context(grid, single, tongue)
    events = column_of_events(rest, grid, base, tongue)
    tables = (event_tables(grid, rest, events, tongue) if events else
              _plain_tables(grid, rest, (base, why), tongue))  # fmt: skip
    used = {item.family.template for table in tables for item in table.meanings}
    used |= {table.event[0] for table in tables}
    used |= {item.family.template for table in tables for item in table.instead}
    unknown = [item for item in others if item.template not in used]
    return SheetDraft(
        grid=grid, tables=tuple(tables), unknown=tuple(unknown),
        loose=tuple(loose), comments=tuple(comments),
        identifiers=tuple(identifiers), events=events,
        mixed=() if events else tuple(suspected(single, tongue)),
    )  # fmt: skip


def _loose(families: Sequence[Family], tongue: Tongue) -> list[Family]:
    """Gather columns of visits without a rule; of "Visit", "Visit (2)" the first is one too."""
    again = {re.sub(r" \((\d+|\{n\})\)$", "", item.template) for item in families if item.loose}
    return [item for item in families if item.loose or (
        item.template in again and of_a_visit(item.template, tongue.language))]  # fmt: skip


def _is_comment(family: Family, tongue: Tongue) -> bool:
    """Tell free text: a header that says so, or long texts that seldom repeat."""
    scores = dict(header_meanings(stem_of(family), tongue.language))
    score = scores.pop("comment", (0.0, ""))[0]
    return score >= 0.8 and score > max((item[0] for item in scores.values()), default=0.0)


def _plain_tables(
    grid: Grid, families: Sequence[Family], kind: tuple[str, str], tongue: Tongue
) -> list[Table]:
    single = [item for item in families if not item.repeat]
    base, why = kind
    groups: dict[str, list[list[Meaning]]] = {base: []}
    for item in single:
        told = group_of(item, tongue.language)
        if told and told != base and told in CORE:
            found = meanings_of(item, stem_of(item), told, tongue, counts=item.counts)
            groups.setdefault(told, []).append(found)
            continue
        here = meanings_of(item, stem_of(item), base, tongue, counts=item.counts)
        if not told and base == "stifles" and of_a_visit(item.template, tongue.language):
            here = [one for one in here if one.header_score >= _SAYS_IT]
        context, found = elsewhere(item, base, tongue, here=here)
        groups.setdefault(context, []).append(found)
    tables: list[Table] = []
    assigned = {
        context: assign(found if context == "stifles" else _of_one_visit(found), tongue)
        for context, found in groups.items()
    }
    used = {item.family.template for found in assigned.values() for item in found}
    left = [item for item in single if item.template not in used]
    for context in assigned:
        dated = [item for item in left if _may_date(item, context, base, tongue)]
        assigned[context] = with_days(assigned[context], dated, context, tongue)
    for context, meanings in assigned.items():
        named = {item.reading.variable for item in meanings}
        if context == base:
            tables.append(Table(context=base, grid=grid, meanings=meanings, why=why))
        elif named & set(CORE[context]):
            text = ", ".join(f'"{item.family.template}"' for item in meanings)
            tables.append(Table(context=context, grid=grid, meanings=meanings,
                                why=f"columns {text}"))  # fmt: skip
    return [*tables, *repeated_tables(grid, families, tongue)]


def _may_date(family: Family, context: str, base: str, tongue: Tongue) -> bool:
    """Tell whether a column of dates may be the day of a kind of row, by the title over it."""
    told = group_of(family, tongue.language)
    if told in CORE or context != base:
        return told == context
    plain = not numbers_of(family.template)
    return plain and not (not told and of_a_visit(family.template, tongue.language))


def _of_one_visit(found: Sequence[list[Meaning]]) -> list[list[Meaning]]:
    """Leave out columns with a number where there are several: visits would be mixed."""
    told = [numbers_of(items[0].family.template) if items else () for items in found]
    mixed = len({numbers for numbers in told if numbers}) > 1
    return [[] if mixed and numbers else items for items, numbers in zip(found, told, strict=True)]
