"""Columns that repeat for visit 1, 2, 3: the rows that each number makes."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from pipeline.draft.columns import KEYS, Meaning, meanings_of
from pipeline.draft.contexts import prefix_of, stems_to_try
from pipeline.draft.families import Family
from pipeline.draft.header import Grid
from pipeline.draft.readings import Tongue
from pipeline.draft.table import CORE, Table, assign
from pipeline.draft.titles import table_of

_SAYS: dict[str, tuple[str, ...]] = {
    "rechecks": ("patella_grade", "lameness_score"), "complications": ("complication_type",),
    "revisions": ("revision_reason",),
}  # fmt: skip


def repeated_tables(grid: Grid, families: Sequence[Family], tongue: Tongue) -> list[Table]:
    """Make a table of each group of columns that repeat with the same numbers.

    Groups of one kind whose columns say different things are joined if their numbers agree.
    """
    groups: dict[str, list[Family]] = {}
    for item in families:
        if item.repeat:
            groups.setdefault(prefix_of(item), []).append(item)
    made: list[Table] = []
    left: list[tuple[str, Family]] = []
    for prefix, members in groups.items():
        context = _context(prefix, members, tongue)
        if not context:
            continue
        most = Counter(item.labels for item in members).most_common(1)[0][0]
        left += [(context, item) for item in members if item.labels != most]
        same = [item for item in members if item.labels == most]
        table = _table(grid, context, same, tongue)
        _join(made, table) if table.meanings else None
    return [_noted(table, left, made) for table in made if _is_made(table)]


def _context(prefix: str, members: Sequence[Family], tongue: Tongue) -> str:
    """Name the kind of row that the word before the numbers announces, or its columns say."""
    context = table_of(prefix, tongue.language, tongue.vocabulary.tables)
    if context:
        return context if context in CORE else ""
    fits: dict[str, float] = {}
    for name, says in _SAYS.items():
        found = [item for item in assign(_found(members, name, tongue), tongue)
                 if item.header_score >= 0.6]  # fmt: skip
        if {item.reading.variable for item in found} & set(says):
            fits[name] = sum(item.score for item in found)
    top = sorted(fits, key=lambda name: -fits[name])
    clear = len(top) == 1 or (len(top) > 1 and fits[top[0]] > fits[top[1]] + 0.5)
    return top[0] if clear and len(members) > 1 else ""


def _found(members: Sequence[Family], context: str, tongue: Tongue) -> list[list[Meaning]]:
    return [
        meanings_of(item, stem, context, tongue, counts=item.counts)
        for item in members for stem in stems_to_try(item, context, tongue)
    ]  # fmt: skip


def _table(grid: Grid, context: str, members: Sequence[Family], tongue: Tongue) -> Table:
    labels, prefix = members[0].labels, prefix_of(members[0])
    return Table(
        context=context, grid=grid, meanings=assign(_found(members, context, tongue), tongue),
        labels=labels, why=f'columns of "{prefix}", numbers {", ".join(labels)}',
    )  # fmt: skip


def _join(made: list[Table], table: Table) -> None:
    """Add a table, or join it to one of its kind that says other things under the same numbers."""
    own = {item.reading.variable for item in table.meanings}
    for place, other in enumerate(made):
        taken = {item.reading.variable for item in other.meanings}
        if (other.context, other.labels) == (table.context, table.labels) and not own & taken:
            meanings = sorted((*other.meanings, *table.meanings),
                              key=lambda item: item.family.columns[0].place)  # fmt: skip
            note = f"{other.why} and {table.why} are read as one block: their numbers agree"
            made[place] = replace(other, meanings=tuple(meanings), notes=(*other.notes, note),
                                  why=f"{other.why}; {table.why}")  # fmt: skip
            return
    made.append(table)


def _is_made(table: Table) -> bool:
    named = {item.reading.variable for item in table.meanings} - set(KEYS)
    return bool(named & set(CORE[table.context]))


def _noted(table: Table, left: Sequence[tuple[str, Family]], made: Sequence[Table]) -> Table:
    """Say which columns of its kind are not read, since their numbers are others."""
    notes = [f'"{item.template}" has other numbers ({", ".join(item.labels)}) and is not read'
             for context, item in left if context == table.context]  # fmt: skip
    notes += [f"{other.why} also speak of {other.context} and are not read with them"
              for other in made if other is not table and other.context == table.context
              and not _is_made(other)]  # fmt: skip
    return replace(table, notes=(*table.notes, *notes))
