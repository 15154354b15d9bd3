"""One variable of a mapping's [table.columns] -> Source."""

from collections.abc import Mapping

from pipeline.intake.mapping import MISSING_REASONS, OPERATIONS, Source
from pipeline.intake.mapping_words import (
    canonical_code,
    checked_pattern,
    known_unit,
    wanted_codes,
)
from pipeline.intake.section import Section, as_text, known
from schemas.codebook import Variable
from shared.errors import MappingError

READERS = ("", "date", "birth_date", "duration", "text")


def read_sources(
    columns: Section, name: str, variables: Mapping[str, Variable], code_lists: Section
) -> tuple[Source, ...]:
    known(name, variables, columns.where)
    content = columns.content[name]
    items = content if isinstance(content, list) else [content]
    where = f"{columns.where}, {name}"
    return tuple(_source(item, where, variables, variables[name], code_lists) for item in items)


def _source(
    item: object, where: str, variables: Mapping[str, Variable], variable: Variable,
    code_lists: Section,
) -> Source:  # fmt: skip
    part = Section({"column": item} if isinstance(item, str | int) else item, where)
    codes, notes = _codes(part, variable, code_lists)
    unit = part.content.get("unit", "")
    missing = part.section("missing")
    only_if = part.section("only_if")
    source = Source(
        columns=part.texts("column"),
        value=canonical_code(part.content["value"], variable, where) if "value" in part.content else None,
        pattern=checked_pattern(part.take("pattern", str, ""), where),
        codes=codes, notes=notes,
        other_texts=part.one_of("other_texts", ("refuse", "keep"), _others(variable)),
        unit=known_unit(unit, variable, where) if isinstance(unit, str) else "",
        units={suffix.lower(): known_unit(as_text(name, where), variable, where)
               for suffix, name in unit.items()} if isinstance(unit, dict) else {},
        reads=part.one_of("as", READERS, ""),
        formats=part.texts("format"),
        out_of=part.take("out_of", int, 0) or None,
        missing={word.lower(): reason for reason in MISSING_REASONS
                 for word in missing.texts(reason)},
        counted_from=part.one_of("counted_from", OPERATIONS, "this"),
        nominal_days=part.take("nominal_days", int, 0) or None,
        only_if=wanted_codes(only_if, variables),
        when_filled=part.take("when_filled", str, ""),
        inherit=part.take("inherit", bool, False),
    )  # fmt: skip
    part.asked |= {"value", "unit"}
    part.done()
    missing.done()
    if not source.columns and source.value is None:
        raise MappingError(where, "neither column nor value is named", do='Add column = "…".')
    return source


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
        key = text.strip().lower()
        if isinstance(meaning, dict):
            inner = Section(meaning, where)
            notes[key] = inner.take("note", str, "")
            meaning = inner.content.get("is", "")
            inner.asked.add("is")
            inner.done()
        code = canonical_code(meaning, variable, where)
        if codes.setdefault(key, code) != code:
            raise MappingError(
                where, "two spellings that differ only in case have two meanings",
                do="Give this text one meaning.",
            )  # fmt: skip
    return codes, notes
