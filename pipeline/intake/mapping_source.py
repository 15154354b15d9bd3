"""One variable of a mapping's [table.columns] -> Source."""

from collections.abc import Mapping

from pipeline.intake.mapping import MISSING_REASONS, OPERATIONS
from pipeline.intake.mapping_words import (
    checked_formats,
    checked_group,
    known_unit,
    tidy_word,
    typed_code,
    wanted_codes,
)
from pipeline.intake.section import Section, as_text, as_text_table, known
from pipeline.intake.sources import Source
from schemas.codebook import Variable
from shared.errors import MappingError

READERS = ("", "date", "birth_date", "duration")
HALF_STEP = "half_step"


def read_sources(
    columns: Section, name: str, variables: Mapping[str, Variable], code_lists: Section
) -> tuple[Source, ...]:
    """Read where one variable stands: a header, a place, or a table; or several of them."""
    known(name, variables, columns.where)
    content = columns.content[name]
    items = content if isinstance(content, list) else [content]
    parts = [Section(_spelled_out(item), f"{columns.where}, {name}") for item in items]
    return tuple(_source(part, variables, variables[name], code_lists) for part in parts)


def _spelled_out(item: object) -> object:
    """Let "Weight" stand for { column = "Weight" }, and 5 for the fifth column."""
    if isinstance(item, int) and not isinstance(item, bool):
        item = f"#{item}"
    return {"column": item} if isinstance(item, str) else item


def _source(
    part: Section, variables: Mapping[str, Variable], variable: Variable, code_lists: Section
) -> Source:
    where = part.where
    codes, notes = _codes(part, variable, code_lists)
    unit, units = _units(part, variable)
    missing = part.section("missing")
    nominal_days, half_step = _nominal(part)
    reads = part.one_of("as", READERS, "")
    split, place, parts = _share(part)
    part.asked.add("value")
    value = part.content.get("value")
    source = Source(
        columns=part.texts("column"),
        value=None if value is None else typed_code(value, variable, where),
        pattern=checked_group(part.take("pattern", str, ""), where),
        absent=part.one_of("absent", ("", *MISSING_REASONS), ""),
        split=split, part=place, parts=parts,
        blank=missing.one_of("blank", ("", *MISSING_REASONS), ""),
        from_above=part.take("from_above", bool, False),
        codes=codes, notes=notes, unit=unit, units=units,
        other_texts=part.one_of("other_texts", ("refuse", "keep"), _others(variable)),
        reads=reads,
        formats=checked_formats(part.texts("format"), where, of_birth=reads == "birth_date"),
        out_of=part.take("out_of", int, 0) or None,
        missing={tidy_word(word): reason for reason in MISSING_REASONS
                 for word in missing.texts(reason)},
        counted_from=part.one_of("counted_from", OPERATIONS, "this"),
        nominal_days=nominal_days, half_step=half_step,
        only_if=wanted_codes(part.section("only_if"), variables),
        when_filled=part.take("when_filled", str, ""),
        inherit=part.take("inherit", bool, False),
    )  # fmt: skip
    part.done()
    missing.done()
    _check_source(source, variable, where)
    return source


def _check_source(source: Source, variable: Variable, where: str) -> None:
    """Refuse settings that cannot be meant together."""
    faults = {
        "neither column nor value is named": not source.columns and source.value is None,
        f"{variable.name} is no duration": source.reads == "duration"
        and variable.unit not in ("day", "month"),
        "absent is said of a pattern": bool(source.absent) and not source.pattern,
        "split and part go together": bool(source.split) != bool(source.part),
        "a planned day needs a unit": source.half_step
        and not (source.unit or source.units or source.reads == "duration"),
    }  # fmt: skip
    for fault, there in faults.items():
        if there:
            raise MappingError(where, fault, do=_REMEDIES[fault.split()[0]])


_REMEDIES: Mapping[str, str] = {
    "neither": 'Add column = "…".',
    "absent": 'Add pattern = "…", or leave absent out.',
    "split": 'Write split = "/" and part = 1, or neither.',
    "a": 'Add unit = "weeks" or as = "duration", or give nominal_days as a number.',
}


def _nominal(part: Section) -> tuple[int | None, bool]:
    """Read the half width of planned days: a number, or half of the unit used in the cell."""
    if part.content.get("nominal_days") == HALF_STEP:
        part.asked.add("nominal_days")
        return None, True
    return part.take("nominal_days", int, 0) or None, False


def _share(part: Section) -> tuple[str, str, int]:
    """Read which of several values of a cell is meant; a block may give the place by a word."""
    split, parts = part.take("split", str, ""), part.take("parts", int, 2)
    part.asked.add("part")
    place = as_text(part.content.get("part", ""), f"{part.where}, part")
    if place and "{" not in place and not (place.isdecimal() and 0 < int(place) <= parts):
        raise MappingError(
            f"{part.where}, part", f'"{place}" is none of {parts} parts',
            do="Write part = 1 for the first; parts says how many a cell has, 2 if left out.",
        )  # fmt: skip
    return split, place, parts


def _units(part: Section, variable: Variable) -> tuple[str, dict[str, str]]:
    """Read one unit for the column, or a unit by the suffix in the cell."""
    part.asked.add("unit")
    unit = part.content.get("unit", "")
    if isinstance(unit, dict):
        where = f"{part.where}, unit"
        named = as_text_table(unit, where)
        return "", {key.lower(): known_unit(name, variable, where) for key, name in named.items()}
    return known_unit(as_text(unit, part.where), variable, part.where), {}


def _others(variable: Variable) -> str:
    return "keep" if variable.kind == "string" else "refuse"


def _codes(
    part: Section, variable: Variable, code_lists: Section
) -> tuple[dict[str, str], dict[str, str]]:
    """Read the code list of one column: its own, or a list of [codes] by name."""
    part.asked.add("codes")
    listed = part.content.get("codes", {})
    if isinstance(listed, str):
        known(listed, code_lists.content, f"{part.where}, codes")
        listed = code_lists.content[listed]
    codes: dict[str, str] = {}
    notes: dict[str, str] = {}
    for text, meaning in Section(listed, f"{part.where}, codes").content.items():
        where = f"{part.where}, codes, {text}"
        key = tidy_word(text)
        if isinstance(meaning, dict):
            inner = Section(meaning, where)
            notes[key] = inner.take("note", str, "")
            meaning = inner.content.get("is", "")
            inner.asked.add("is")
            inner.done()
        code = typed_code(meaning, variable, where)
        if codes.setdefault(key, code) != code:
            raise MappingError(
                where, "two spellings that differ only in case have two meanings",
                do="Give this text one meaning.",
            )  # fmt: skip
    return codes, notes
