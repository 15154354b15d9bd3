"""A right value as a clinic writes it -> the text that corrections.csv keeps; never guessed."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import polars as pl

from pipeline.checks.values import read_value
from pipeline.intake.blocks import in_block
from pipeline.intake.cells import read_variable
from pipeline.intake.grammar import UNITS_TO
from pipeline.intake.lists import read_list
from pipeline.intake.mapping import ClinicMapping, TableMapping
from pipeline.intake.parts import file_grammar
from pipeline.intake.sources import Grammar, Source, WordList
from schemas.codebook import Variable
from shared.errors import StudyError

Value = str | float | int | bool | date
UNIT_WORDS = {"inches": "inch", "in": "inch", "lbs": "lb", "day": "days", "week": "weeks",
              "month": "months", "year": "years", "d": "days", "wk": "weeks"}  # fmt: skip


class AnswerRefused(Exception):
    """Why an answer is handed back to the clinic, in one sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How one clinic writes one variable in the column that is asked about.

    `operations` are the days of the animal's operations from which days may be counted.
    """

    variable: Variable
    readers: tuple[tuple[Source | WordList, Grammar], ...] = ()
    operations: Mapping[str, date] = field(default_factory=dict[str, date])


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One reading of a right value: the value as text, or why it is missing."""

    text: str = ""
    missing: str = ""


def dialect_of(mapping: ClinicMapping, variable: Variable, *, column: str,
               operations: Mapping[str, date]) -> Dialect:  # fmt: skip
    """Find how the mapping reads this variable, in this column where it is named."""
    readers = [
        (reader, file_grammar(mapping, source))
        for source in mapping.files
        for table in mapping.tables if table.source == source.name
        for reader in _readers(table, variable)
    ]  # fmt: skip
    own = [item for item in readers if _header(item[0]) == column]
    return Dialect(variable=variable, readers=tuple(own or readers), operations=operations)


def read_answer(text: str, dialect: Dialect) -> Read:
    """Read a right value in the clinic's dialect, or as the codebook writes it.

    Raises
    ------
    AnswerRefused
        If it is no value of the variable, may mean two things, or is beyond what is possible.
    """
    variable = dialect.variable
    number = re.match(r"[+-]?[0-9.,]+$", text)
    if text.startswith(("=", "@", "+", "-")) and not number and not _missing_word(text, dialect):
        raise AnswerRefused("the right value reads like a formula; write the value alone")
    local = {item for reader, grammar in dialect.readers
             if (item := _by_mapping(text, reader, grammar, dialect)) is not None}  # fmt: skip
    plain = _canonical(text, variable) or _with_unit(text, variable)
    if len(local) > 1 or (local and plain and _differ(local, plain, dialect)):
        raise AnswerRefused(
            "the right value may mean two things here; give it with its unit, or as the codebook "
            "writes it (a date as 2021-03-14)"
        )
    found = next(iter(local)) if local else plain
    if found is None:
        raise AnswerRefused(f"the right value is no value of {variable.label}; {_wanted(variable)}")
    if found.text:
        _check_limits(found.text, variable)
    return found


def _readers(table: TableMapping, variable: Variable) -> Iterable[Source | WordList]:
    keys = variable.table == "stifles" and variable.name in ("local_animal", "side", "local_stifle")
    if variable.table not in table.tables and not keys:
        return
    for block in table.blocks:
        one = in_block(table, block, ())
        yield from (item for item in one.columns.get(variable.name, ()) if item.columns)
        yield from (item for item in one.lists if variable.name in item.variables)


def _header(reader: Source | WordList) -> str:
    return reader.column if isinstance(reader, WordList) else " / ".join(reader.columns)


def _by_mapping(text: str, reader: Source | WordList, grammar: Grammar, dialect: Dialect
                ) -> Read | None:  # fmt: skip
    variable = dialect.variable
    rows = pl.DataFrame({"a": [text]}, schema={"a": pl.String})
    if isinstance(reader, WordList):
        words = replace(reader, column="a")
        # The other variables of the list are not asked about; their types do not matter here.
        kinds = dict.fromkeys(words.variables, variable)
        cells = read_list(rows, words, variables=kinds, grammar=grammar)[variable.name]
        return _as_read(cells.row(0, named=True), dialect)
    bare = replace(reader, columns=("a",), only_if={}, when_filled="")
    for source in (bare, replace(bare, pattern="")):
        cells = read_variable(rows, [source], variable=variable, grammar=grammar)
        read = _as_read(cells.row(0, named=True), dialect)
        if read is not None:
            return read
    return None


def _as_read(cell: Mapping[str, object], dialect: Dialect) -> Read | None:
    if cell["miss"]:
        return Read(missing=str(cell["miss"]))
    if isinstance(cell["on"], date):
        return Read(text=cell["on"].isoformat())
    value, base = cell["value"], cell["base"]
    if value is None or cell["rule"]:
        return None
    if base not in (None, "this") and isinstance(value, int):
        start = dialect.operations.get(str(base))
        return Read(text=(start + timedelta(days=value)).isoformat()) if start else None
    return Read(text=as_text(value))


def _canonical(text: str, variable: Variable) -> Read | None:
    try:
        return Read(text=as_text(read_value(text, variable, "")))
    except StudyError:
        return None


def _with_unit(text: str, variable: Variable) -> Read | None:
    """Read "13.4 kg" or "2 weeks": a number with a unit that the codebook knows."""
    match = re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?) ?([a-zA-Z]+)", text)
    factors = UNITS_TO.get(variable.unit, {})
    if match is None or variable.kind not in ("int", "float"):
        return None
    unit = UNIT_WORDS.get(match[2].casefold(), match[2].casefold())
    if unit not in factors:
        return None
    number = float(match[1].replace(",", ".")) * factors[unit]
    return Read(text=as_text(round(number) if variable.kind == "int" else number))


def as_text(value: object) -> str:
    """Write a value as corrections.csv keeps it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return repr(round(value, 10)).removesuffix(".0")
    return str(value)


def _differ(local: Iterable[Read], plain: Read, dialect: Dialect) -> bool:
    """Say whether the clinic's reading and the codebook's are at odds.

    A number alone is in the unit of the column, as the list asks; so there only the clinic's
    reading counts.
    """
    sources = [item for item, _ in dialect.readers if isinstance(item, Source)]
    converted = any(item.unit or item.units or item.out_of or item.reads for item in sources)
    free = dialect.variable.kind == "string"
    return not converted and not free and any(item != plain for item in local)


def _missing_word(text: str, dialect: Dialect) -> bool:
    return any(text.lower() in grammar.missing for _, grammar in dialect.readers)


def _check_limits(text: str, variable: Variable) -> None:
    if variable.limits is None or variable.kind not in ("int", "float"):
        return
    low, high = variable.limits
    try:
        number = float(text)
    except ValueError:
        return  # a date from which days are counted; the checks see the day
    if not float(low) <= number <= float(high):
        raise AnswerRefused(
            f"the right value is beyond what is possible ({low} to {high} {variable.unit})"
        )


def _wanted(variable: Variable) -> str:
    codes: Sequence[str] = list(variable.codes)[:8]
    if variable.kind == "category" and codes:
        return "give one of: " + ", ".join(codes)
    return {"date": "give a date", "bool": "give yes or no", "int": "give a whole number",
            "float": "give a number"}.get(variable.kind, "give a text")  # fmt: skip
