"""mask.toml: what each column of a clinic's files is, and what becomes of it."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from pipeline.intake.mapping import AllowedIdentifier, SourceFile
from pipeline.intake.mapping_source_file import read_source_file
from pipeline.intake.mapping_words import checked_formats
from pipeline.intake.screen_patterns import KINDS
from pipeline.intake.section import Section, known
from pipeline.intake.sources import Grammar
from shared.errors import MappingError

ONE = ("animal", "stifle", "side", "surgeon", "transponder", "birth_date")
DATE = "date"  # beside the kinds of the intake: here a date that is kept would tell the true day
MANY = ("surgery_date", "dates", "drop", "keep")


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskedFile:
    """One file of the export, and the part each of its columns plays.

    `one` names the column of each of ONE that the file has, `many` the columns of each of MANY.
    """

    source: SourceFile
    one: Mapping[str, str] = field(default_factory=dict[str, str])
    many: Mapping[str, tuple[str, ...]] = field(default_factory=dict[str, tuple[str, ...]])

    @property
    def animal(self) -> str:
        """Column of the clinic's animal code; every file has one."""
        return self.one["animal"]

    @property
    def kept(self) -> tuple[str, ...]:
        """Columns that are sent as they are."""
        return (*self.many["keep"], *([self.one["side"]] if "side" in self.one else []))


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskConfig:
    """All of mask.toml; accrual and lock are the true dates."""

    path: str
    clinic_id: str
    accrual_start: date
    accrual_end: date
    data_lock_date: date
    grammar: Grammar
    missing: tuple[str, ...]
    files: tuple[MaskedFile, ...]
    allowed: tuple[AllowedIdentifier, ...]


def read_mask_config(path: Path) -> MaskConfig:
    """Read and check mask.toml.

    Raises
    ------
    MappingError
        If it is missing or no TOML, holds an unknown key, lacks a needed one, or gives a column
        two parts.
    """
    top = Section(_load(path), str(path))
    clinic, dates = top.section("clinic"), top.section("dates")
    months = dates.section("months")
    clinic_id = top.need("clinic_id", str, '"north"')
    if not re.fullmatch(r"[A-Za-z0-9_-]+", clinic_id):
        raise MappingError(str(path), "clinic_id is no plain code", do='Write it as "north".')
    config = MaskConfig(
        path=str(path), clinic_id=clinic_id,
        accrual_start=_day(clinic, "accrual_start"),
        accrual_end=_day(clinic, "accrual_end"),
        data_lock_date=_day(clinic, "data_lock_date"),
        grammar=Grammar(
            date_formats=checked_formats(dates.texts("formats"), dates.where) or ("YYYY-MM-DD",),
            months={name.lower(): months.take(name, int, 0) for name in months.content},
        ),
        missing=tuple(word.lower() for word in dates.texts("missing")),
        files=tuple(_file(item) for item in top.sections("file")),
        allowed=tuple(_allowed(item) for item in top.sections("not_identifying")),
    )  # fmt: skip
    for part in (clinic, dates, top):
        part.done()
    if not config.files:
        raise MappingError(str(path), "no [[file]] is there", do="Declare each file you send.")
    return config


def _load(path: Path) -> dict[str, object]:
    try:
        return tomllib.loads(path.read_text("utf-8-sig"))
    except FileNotFoundError:
        raise MappingError(
            str(path), "the settings of the masking are not there",
            do="Write them; the contract with the study holds a commented mask.toml.",
        ) from None  # fmt: skip
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise MappingError(
            str(path), f"this is no TOML: {error}",
            do="Mend it there; the file is saved as UTF-8 text.",
        ) from None  # fmt: skip


def _day(part: Section, key: str) -> date:
    text = "".join(part.texts(key))
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise MappingError(f"{part.where}, {key}", "this date is missing or is none",
                           do=f"Write {key} = 2015-01-01, without quotes.") from None  # fmt: skip


def _file(part: Section) -> MaskedFile:
    columns = part.section("columns")
    one = {name: columns.take(name, str, "") for name in ONE if name in columns.content}
    many = {name: columns.texts(name) for name in MANY}
    for name in ONE:
        columns.asked.add(name)
    columns.done()
    source = read_source_file(part)
    if not one.get("animal"):
        raise MappingError(columns.where, "no column with the animal's code is named",
                           do='Add, for example, animal = "Patient No".')  # fmt: skip
    if "birth_date" in one and not many["surgery_date"]:
        raise MappingError(columns.where, "an age needs the day of surgery in the same file",
                           do="Name it under surgery_date, or put birth_date under drop."
                           )  # fmt: skip
    named = [*one.values(), *(name for names in many.values() for name in names)]
    for name in named:
        if named.count(name) > 1:
            raise MappingError(columns.where, f'the column "{name}" is declared twice',
                               do="Give each column one part.")  # fmt: skip
    return MaskedFile(source=source, one=one, many=many)


def _allowed(part: Section) -> AllowedIdentifier:
    kinds = part.texts("kinds")
    allowed = AllowedIdentifier(
        column=part.need("column", str, '"Case number"'),
        kinds=tuple(known(kind, (*KINDS, DATE), f"{part.where}, kinds") for kind in kinds),
        because=part.need("because", str, '"a running number of our own"'),
    )
    part.done()
    return allowed
