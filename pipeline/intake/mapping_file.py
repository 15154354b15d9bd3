"""mappings/<clinic>.toml -> ClinicMapping; every word in it is known or named in an error."""

import tomllib
from pathlib import Path
from typing import Any

from pipeline.intake.mapping import (
    MADE_TABLES,
    MISSING_REASONS,
    TYPED_FORMATS,
    AllowedIdentifier,
    ClinicMapping,
)
from pipeline.intake.mapping_confirm import read_to_confirm, refuse_unconfirmed
from pipeline.intake.mapping_needs import check_needs
from pipeline.intake.mapping_source_file import read_source_file
from pipeline.intake.mapping_table import read_table
from pipeline.intake.mapping_words import checked_formats, tidy_word, typed_code
from pipeline.intake.numbers import LATEST_EVENT
from pipeline.intake.screen_patterns import KINDS
from pipeline.intake.section import Section, known
from pipeline.intake.sources import Grammar
from schemas.codebook import Variable, by_name, of_table
from shared.errors import MappingError

DURATIONS = ("days", "weeks", "months", "years")
SHORTEST_REASON = 20  # letters: a reason that somebody else can judge


def read_mapping(path: Path, codebook: tuple[Variable, ...]) -> ClinicMapping:
    """Read and check one mapping file.

    Raises
    ------
    MappingError
        If the file is missing or no TOML, or names a key, variable, code, unit or file
        that does not exist; the nearest right word stands in the message. Also while a
        [[to_confirm]] block of a drafted mapping stands in it.
    """
    top = Section(_load(path), str(path))
    clinic_id = top.take("clinic_id", str, path.stem)
    if clinic_id != path.stem:
        raise MappingError(
            str(path),
            f'clinic_id is "{clinic_id}", the file is called {path.name}',
            do="Give both the same name; the export stands in exports/ under that name.",
        )
    grammar = _grammar(top)
    files = tuple(read_source_file(item) for item in top.sections("file"))
    code_lists = top.section("codes")
    tables = tuple(
        read_table(item, codebook, files={file.name for file in files}, code_lists=code_lists)
        for item in top.sections("table")
    )
    mapping = ClinicMapping(
        clinic_id=clinic_id, path=str(path), file_name=f"mappings/{path.name}",
        grammar=grammar, files=files, tables=tables,
        codebook_version=top.take("codebook_version", str, ""),
        facts=_facts(top.section("clinic"), codebook),
        ignore_files=top.texts("ignore_files"),
        when_blank=_when_blank(top.section("when_blank"), codebook),
        allowed=tuple(_allowed(item) for item in top.sections("not_identifying")),
    )  # fmt: skip
    waiting = tuple(read_to_confirm(item) for item in top.sections("to_confirm"))
    top.done()
    _check_files(mapping)
    check_needs(mapping)
    refuse_unconfirmed(waiting, path.read_text("utf-8-sig"), str(path))
    return mapping


def _check_files(mapping: ClinicMapping) -> None:
    """Refuse a mapping that reads nothing, or the same file or sheet twice."""
    if not mapping.files or not mapping.tables:
        raise MappingError(
            mapping.path,
            "no [[file]] or no [[table]] is there",
            do="Add both; sulca new gives a filled mapping.",
        )
    names = [file.name for file in mapping.files]
    places = [
        " ".join(filter(None, (file.path, file.member, file.sheet))) for file in mapping.files
    ]
    for listed, what in ((names, "name"), (places, "file")):
        for item in listed:
            if listed.count(item) > 1:
                raise MappingError(
                    mapping.path, f'the {what} "{item}" stands twice',
                    do="Give each [[file]] a name of its own, and read each file or sheet once.",
                )  # fmt: skip
    grammar = mapping.grammar
    if grammar.group and any(file.format in TYPED_FORMATS for file in mapping.files):
        raise MappingError(
            f"{mapping.path}, numbers",
            "where cells have types, a mark between thousands cannot be told from a decimal point",
            do="Leave group out.",
        )


def _load(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8-sig"))
    except FileNotFoundError:
        raise MappingError(
            str(path), "the mapping is not there", do="Write it; sulca new gives a filled one."
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise MappingError(
            str(path), f"this is no TOML: {error}",
            do="Mend it there; the file is saved as UTF-8 text.",
        ) from None  # fmt: skip


def _grammar(top: Section) -> Grammar:
    numbers, dates = top.section("numbers"), top.section("dates")
    durations, gauges = top.section("durations"), top.section("gauge_mm")
    missing, months = top.section("missing"), dates.section("months")
    grammar = Grammar(
        decimal=numbers.take("decimal", str, "."),
        group=numbers.take("group", str, ""),
        date_formats=checked_formats(dates.texts("formats"), dates.where) or ("YYYY-MM-DD",),
        months={tidy_word(name): months.take(name, int, 0) for name in months.content},
        durations={tidy_word(word): unit for unit in DURATIONS for word in durations.texts(unit)},
        gauge_mm={gauge: gauges.number(gauge) for gauge in gauges.content},
        missing={tidy_word(word): reason for reason in MISSING_REASONS
                 for word in missing.texts(reason)},
        blank=missing.one_of("blank", MISSING_REASONS, "not_recorded"),
    )  # fmt: skip
    for part in (numbers, dates, durations, missing):
        part.done()
    if len(grammar.decimal) != 1 or len(grammar.group) > 1 or grammar.group == grammar.decimal:
        raise MappingError(
            numbers.where, "decimal is one mark, group another one or none",
            do='Write, for example, decimal = "," and group = ".".',
        )  # fmt: skip
    return grammar


def _facts(part: Section, codebook: tuple[Variable, ...]) -> dict[str, str]:
    variables = by_name(of_table(codebook, "clinics"))
    return {
        known(name, variables, part.where): typed_code(value, variables[name], part.where)
        for name, value in part.content.items()
    }


def _when_blank(part: Section, codebook: tuple[Variable, ...]) -> dict[str, dict[str, str]]:
    rules: dict[str, dict[str, str]] = {}
    for table in part.content:
        known(table, MADE_TABLES, part.where)
        inner = part.section(table)
        variables = by_name(of_table(codebook, table))
        rules[table] = {
            known(name, variables, inner.where): LATEST_EVENT
            if value == LATEST_EVENT and variables[name].unit == "day"
            else typed_code(value, variables[name], inner.where)
            for name, value in inner.content.items()
        }
    return rules


def _allowed(part: Section) -> AllowedIdentifier:
    """Read one exception to screening: a column, the kinds it only looks like, and why."""
    because = part.need("because", str, '"fifteen-digit case numbers of our own"').strip()
    kinds = tuple(known(kind, KINDS, f"{part.where}, kinds") for kind in part.texts("kinds"))
    if not kinds:
        raise MappingError(
            part.where, 'the key "kinds" is missing or empty',
            do=f"Name what the column only looks like: {', '.join(KINDS)}.",
        )  # fmt: skip
    if len(because) < SHORTEST_REASON:
        raise MappingError(
            part.where, f'the reason under "because" is shorter than {SHORTEST_REASON} letters',
            do="Say what the column holds and how you know; the report prints it.",
        )  # fmt: skip
    column = part.need("column", str, '"Case ID"')
    part.done()
    return AllowedIdentifier(column=column, kinds=kinds, because=because)
