"""Hold the parts of a mapping against each other: a unit that a table or a list of words needs."""

from collections.abc import Iterable

from pipeline.intake.mapping import ClinicMapping
from pipeline.intake.sources import Source
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


def _units(source: Source) -> Iterable[str]:
    return (source.unit, *source.units.values())


_NO_MONTHS = "names of months are wanted and none is declared"
_ADD_MONTHS = "Add months = { jan = 1, … } to [dates], in the clinic's own words."
