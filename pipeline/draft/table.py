"""Rows of one kind that a sheet makes, and which column gives which variable."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.draft.columns import Meaning
from pipeline.draft.header import Grid
from pipeline.draft.kinds import without_no
from pipeline.draft.readings import Tongue

CORE: Mapping[str, tuple[str, ...]] = {
    "rechecks": ("recheck_day", "patella_grade"), "complications": ("complication_type",),
    "revisions": ("revision_day", "revision_reason"),
}  # fmt: skip
_TWINS: Mapping[str, set[str]] = {  # one cell that says two variables
    "count_by_size": {"kwire_count", "kwire_diameter_mm"},
    "yes_with_size": {"tension_band_done", "tb_wire_diameter_mm"},
}
_NO_EVENTS: Mapping[str, int] = {}


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
    labels
        The numbers under which its columns repeat, as they are written; empty for none.
    instead
        What gives the day of a recheck where its date is not filled.
    why
        Why rows of this kind are thought to be here.
    notes
        What a person must know of columns that might belong here too.
    """

    context: str
    grid: Grid
    meanings: tuple[Meaning, ...]
    why: str
    event: tuple[str, Mapping[str, int]] = ("", _NO_EVENTS)
    labels: tuple[str, ...] = ()
    instead: tuple[Meaning, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def repeat(self) -> int:
        """Count how often its columns repeat; 0 for not."""
        return len(self.labels)

    def meaning(self, variable: str) -> Meaning | None:
        """Give what was found for a variable."""
        return next((item for item in self.meanings if item.reading.variable == variable), None)


def assign(found: Sequence[Sequence[Meaning]], tongue: Tongue) -> tuple[Meaning, ...]:
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
