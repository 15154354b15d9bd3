"""Hold the parts of a mapping against each other: a unit that a table or a list of words needs."""

from collections.abc import Iterable, Mapping

from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.sources import Source
from pipeline.intake.words import STOPS
from shared.errors import MappingError


def check_needs(mapping: ClinicMapping) -> None:
    """Refuse a mapping whose gauges, durations or month names could never be read."""
    grammar = mapping.grammar
    for table in mapping.tables:
        for name, sources in table.columns.items():
            where = f"{mapping.path}, {', '.join(table.tables)}, {name}"
            for source in sources:
                if "gauge" in _units(source) and not grammar.gauge_mm:
                    raise MappingError(
                        where, "wire gauges need the clinic's own table",
                        do="Add [gauge_mm] with a line for each, for example 20 = 0.8.",
                    )  # fmt: skip
                if source.reads == "duration" and not grammar.durations:
                    raise MappingError(
                        where, "durations need the clinic's words for their units",
                        do='Add [durations], for example weeks = ["wk"].',
                    )  # fmt: skip
                if any("MMM" in form for form in source.formats) and not grammar.months:
                    raise MappingError(where, _NO_MONTHS, do=_ADD_MONTHS)
    if any("MMM" in form for form in grammar.date_formats) and not grammar.months:
        raise MappingError(f"{mapping.path}, dates", _NO_MONTHS, do=_ADD_MONTHS)


def check_places(mapping: ClinicMapping) -> None:
    """Refuse a [[table]] whose rows would all be stopped: nothing gives their day or their side."""
    days = {table: name for table, name in STOPS if table}
    for table in mapping.tables:
        in_lists = {name for words in table.lists for name in words.variables}
        for block in () if table.fills else table.blocks:
            named = {*table.columns, *block.values, *in_lists}
            for made in table.tables:
                given = named | set(mapping.when_blank.get(made, ()))
                if made in days and days[made] not in given:
                    raise _unplaced(mapping, made, days[made])
                if made != "animals" and not given & {"side", "local_stifle"}:
                    raise _unplaced(mapping, made, "side")


def _unplaced(mapping: ClinicMapping, table: str, name: str) -> MappingError:
    example = _SIDE if name == "side" else f'{{ column = "{_HEADERS[table]}", as = "date" }}'
    return MappingError(
        f"{mapping.path}, {table}", f"nothing gives {name}, so that no row could be placed",
        do=f"Add to [table.columns], for example: {name} = {example}.",
    )  # fmt: skip


_SIDE = '{ column = "Limb", codes = { L = "left", R = "right" } }'
_HEADERS: Mapping[str, str] = {
    "stifles": "Op date", "rechecks": "Visit date", "complications": "Found on",
    "revisions": "Revised on",
}  # fmt: skip


def _units(source: Source) -> Iterable[str]:
    return (source.unit, *source.units.values())


_NO_MONTHS = "names of months are wanted and none is declared"
_ADD_MONTHS = "Add months = { jan = 1, … } to [dates], in the clinic's own words."
