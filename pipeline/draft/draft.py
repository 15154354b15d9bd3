"""Draft a clinic's mapping: read its files, guess, and gather what a person must settle."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

from pipeline.draft.codes import missing_reason
from pipeline.draft.columns import Meaning, best_language
from pipeline.draft.dates import WORKBOOK, DateForm, guess_dates, is_date
from pipeline.draft.header import Grid, lay_out
from pipeline.draft.numbers import guess_marks
from pipeline.draft.raw import read_raw
from pipeline.draft.readings import Tongue
from pipeline.draft.rows_made import RowsMade, rows_made
from pipeline.draft.tables import SheetDraft, draft_sheet
from pipeline.draft.units import gauge_of
from pipeline.draft.vocabulary import meant, read_vocabulary
from pipeline.intake.grammar import read_dates
from pipeline.intake.sources import Grammar
from schemas.codebook import CANONICAL_TABLES, Variable, by_name

_KINDS = ("animals", "stifles", "procedures", "rechecks", "complications", "revisions")
_FIRST_YEAR = 1990  # an earlier date is no date of a case


@dataclass(frozen=True, slots=True, kw_only=True)
class Aside:
    """Rows that look like a total or a test: column, text, how many, why."""

    column: str
    text: str
    n: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Everything that is drafted of one clinic."""

    clinic_id: str
    tongue: Tongue
    sheets: tuple[SheetDraft, ...]
    made: tuple[RowsMade, ...]
    dates: tuple[DateForm, ...]
    missing: Mapping[str, tuple[str, int]]  # word -> reason, cells
    durations: Mapping[str, str]  # word -> unit
    gauges: tuple[str, ...]
    aside: Mapping[str, tuple[Aside, ...]]  # sheet -> rows
    operated: tuple[date, date] | None
    latest: date | None
    lacking: tuple[Variable, ...]


def draft_clinic(paths: Sequence[Path], clinic_id: str, codebook: Sequence[Variable]) -> Draft:
    """Draft the mapping of one clinic from the files of its export.

    Raises
    ------
    InputFileError
        If a file cannot be read, or no row of it looks like a header.
    """
    grids = _grids(paths)
    vocabulary = read_vocabulary()
    language = best_language([item.header for grid in grids for item in grid.columns], vocabulary)
    marks = guess_marks(
        (text for grid in grids for item in grid.columns for text in item.counts.elements()),
        typed=all(grid.raw.typed for grid in grids), language=language,
    )  # fmt: skip
    variables = by_name(item for item in codebook if item.table in _KINDS)
    tongue = Tongue(language=language, marks=marks, vocabulary=vocabulary, variables=variables)
    sheets = tuple(draft_sheet(grid, tongue) for grid in grids)
    made = tuple(
        rows_made(table, sheet.tables[0], tongue) for sheet in sheets for table in sheet.tables
    )
    meanings = [item for sheet in sheets for table in sheet.tables
                for item in (*table.meanings, *table.instead)]  # fmt: skip
    dated = [item for item in meanings if item.reading.how in ("date", "birth_date")]
    texts = (text for item in dated for text in item.counts.elements())
    forms = tuple(guess_dates(texts, vocabulary, language))
    return Draft(
        clinic_id=clinic_id, tongue=tongue, sheets=sheets, made=made, dates=forms,
        missing=_missing(meanings, language), durations=_durations(meanings),
        gauges=_gauges(meanings),
        aside={sheet.grid.name: _aside(sheet.grid, tongue) for sheet in sheets},
        operated=_span(meanings, forms), latest=_latest(grids, tongue),
        lacking=_lacking(codebook, made),
    )  # fmt: skip


def _grids(paths: Sequence[Path]) -> list[Grid]:
    grids: list[Grid] = []
    names: Counter[str] = Counter()
    for path in paths:
        for raw in read_raw(path):
            name = (raw.sheet or path.name.split(".")[0]).strip()
            names[name] += 1
            grids.append(lay_out(raw, name if names[name] == 1 else f"{name} {names[name]}"))
    return grids


def _missing(meanings: Sequence[Meaning], language: str) -> dict[str, tuple[str, int]]:
    """Gather the words for a missing value; one that is a code anywhere is left out."""
    found: dict[str, tuple[str, int]] = {}
    codes: set[str] = set()
    for item in meanings:
        facts = item.reading.facts
        codes |= {guess.text.casefold() for guess in item.reading.codes if guess.code}
        codes |= {fact.text.casefold() for fact in (facts.items if facts else ()) if fact.told}
        for text, n in item.counts.items():
            if reason := missing_reason(text, language):
                found[text] = (reason, found.get(text, ("", 0))[1] + n)
    return {text: found[text] for text in sorted(found) if text.casefold() not in codes}


def _durations(meanings: Sequence[Meaning]) -> dict[str, str]:
    words = {word.lower(): unit for item in meanings for word, unit in
             item.reading.durations.items()}  # fmt: skip
    return dict(sorted(words.items(), key=lambda pair: (pair[1], pair[0])))


def _gauges(meanings: Sequence[Meaning]) -> tuple[str, ...]:
    """Gather the gauges in columns that hold some, with their word or without it."""
    texts: set[str] = set()
    for item in meanings:
        unit = item.reading.unit
        units = dict(item.reading.units) or {"": unit.unit if unit else ""}
        texts |= {gauge_of(text, units) for text in item.counts}
    return tuple(sorted(texts - {""}, key=int, reverse=True))


def _aside(grid: Grid, tongue: Tongue) -> tuple[Aside, ...]:
    """Find rows with a word for totals or tests in them."""
    found: list[Aside] = []
    for column in grid.columns:
        if column.identifier:
            continue
        for text, n in sorted(column.counts.items()):
            word = meant(text, tongue.vocabulary.aside, tongue.language)
            if word and n <= max(3, 0.02 * grid.n_rows):
                found.append(Aside(column=column.header, text=text, n=n, reason=word.meaning))
    return tuple(found)


def _span(meanings: Sequence[Meaning], forms: Sequence[DateForm]) -> tuple[date, date] | None:
    """Give the first and last day of an operation."""
    days = _days((text for item in meanings if item.reading.variable == "surgery_date"
                  for text in item.counts), forms)  # fmt: skip
    return (days[0], days[-1]) if days else None


def _latest(grids: Sequence[Grid], tongue: Tongue) -> date | None:
    """Give the last day in any cell of any sheet, whether its column was recognised or not."""
    texts = [text for grid in grids for column in grid.columns if not column.identifier
             for text in column.counts.elements() if is_date(text)]  # fmt: skip
    days = _days(texts, guess_dates(texts, tongue.vocabulary, tongue.language))
    return days[-1] if days else None


def _days(texts: Iterable[str], forms: Sequence[DateForm]) -> list[date]:
    written = list(dict.fromkeys(texts))
    months = {name: number for form in forms for name, number in form.months.items()}
    workbook = any(WORKBOOK.fullmatch(text) for text in written)
    named = tuple(form.form for form in forms) or ("YYYY-MM-DD",)
    grammar = Grammar(date_formats=named, months=months, workbook=workbook)
    days = read_dates(pl.Series(written, dtype=pl.String), grammar, grammar.date_formats)
    return sorted(day for day in days.drop_nulls().to_list() if day.year >= _FIRST_YEAR)


def _lacking(codebook: Sequence[Variable], made: Sequence[RowsMade]) -> tuple[Variable, ...]:
    """List the variables of the tables made that no column gives, core ones first."""
    tables = {name for item in made for name in item.make}
    given = {line.variable for item in made for line in item.lines}
    given |= {name for item in made for drafted in item.lists for name in drafted.variables}
    given |= {"side", "clinic_id", "local_stifle", "complication_no", "revision_no", "link_token"}
    order = {name: place for place, name in enumerate(CANONICAL_TABLES)}
    left = [item for item in codebook if item.table in tables and item.name not in given]
    return tuple(sorted(left, key=lambda item: (
        item.core not in ("yes", "key"), item.required == "no", order[item.table])))  # fmt: skip
