"""A column of dates whose header says nothing that is known, proposed as the day of its rows."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from pipeline.draft.codes import missing_reason
from pipeline.draft.columns import Meaning
from pipeline.draft.dates import date_share
from pipeline.draft.families import Family
from pipeline.draft.readings import Tongue, read_as

# The days of each kind of row, in the order in which its columns of dates are given to them.
_DAYS: Mapping[str, tuple[str, ...]] = {
    "stifles": ("surgery_date", "end_of_followup_day"), "rechecks": ("recheck_day",),
    "complications": ("detected_day",), "revisions": ("revision_day",),
}  # fmt: skip
_MOSTLY = 0.8  # of its filled cells, for a column to be one of dates
_FILLED = 0.5  # of the rows; a date that most rows lack is not the day of the row


def with_days(
    meanings: Sequence[Meaning], left: Sequence[Family], context: str, tongue: Tongue
) -> tuple[Meaning, ...]:
    """Give the days that no header names to the columns of dates that are left, fullest first."""
    dated = [item for item in left if _is_dated(item, tongue)]
    dated.sort(key=lambda item: (-item.counts.total(), item.columns[0].place))
    named = {item.reading.variable for item in meanings}
    wanted = [name for name in _DAYS.get(context, ()) if name not in named]
    only = len(dated) == 1
    found = [_day(name, item, tongue, only=only)
             for name, item in zip(wanted, dated, strict=False)]  # fmt: skip
    return tuple(sorted((*meanings, *found), key=lambda item: item.family.columns[0].place))


def _is_dated(family: Family, tongue: Tongue) -> bool:
    if family.repeat or family.sides or any(column.birth for column in family.columns):
        return False
    asked = _asked(family, tongue)
    full = asked.total() >= _FILLED * max(family.n_cells, 1)
    return full and bool(asked) and date_share(asked) >= _MOSTLY


def _asked(family: Family, tongue: Tongue) -> Counter[str]:
    return Counter({text: n for text, n in family.counts.items()
                    if not missing_reason(text, tongue.language)})  # fmt: skip


def _day(name: str, family: Family, tongue: Tongue, *, only: bool) -> Meaning:
    reading = read_as(name, name, family, tongue=tongue, counts=family.counts)
    why = "the only column of dates left" if only else "the fullest column of dates left"
    return Meaning(family=family, counts=family.counts, header_score=0.0, phrase="",
                   reading=replace(reading, evidence=f"{reading.evidence}; {why}"))  # fmt: skip
