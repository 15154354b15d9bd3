"""What must hold of reading and mapping for any export, not only for those we thought of.

Over 250 lines: the exports that are drawn and the mapping that reads them belong together.
"""

import csv
import io
import tempfile
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, Phase, event, given, settings
from hypothesis import strategies as st

from pipeline.intake import grammar as read
from pipeline.intake.mapped import Mapped
from pipeline.intake.sources import Grammar
from pipeline.intake.study_intake import read_clinic
from schemas.codebook import read_codebook
from shared.errors import StudyError
from tests.pipeline.intake.dialects import (
    DATE_FORMS,
    HEADER,
    MONTHS,
    UNITS,
    Case,
    Dialect,
    cases,
    days,
    dialects,
)

CODEBOOK = read_codebook()
some = settings(
    max_examples=12, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip
many = settings(max_examples=60, deadline=None, derandomize=True)


def intake(content: bytes, mapping: str, name: str = "cases.txt") -> Mapped:
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        (folder / "exports" / "clinic").mkdir(parents=True)
        (folder / "mappings").mkdir()
        (folder / "exports" / "clinic" / name).write_bytes(content)
        (folder / "mappings" / "clinic.toml").write_text(mapping, "utf-8")
        return read_clinic(folder, "clinic", CODEBOOK)


@some
@given(dialect=dialects(), listed=st.lists(cases, min_size=1, max_size=12))
def test_what_was_written_in_a_declared_dialect_comes_back(
    dialect: Dialect, listed: list[Case]
) -> None:
    rows = [case.cells(number, dialect) for number, case in enumerate(listed, start=1)]
    mapped = intake(dialect.write([HEADER, *rows]), dialect.mapping())
    stifles = mapped.tables["stifles"]
    told = stifles.select("local_animal", "side", "surgery_date", "grade_preop").rows()
    assert told == [
        (f"00{number}", case.side, case.on, case.grade)
        for number, case in enumerate(listed, start=1)
    ]
    nan = float("nan")
    weights = [nan if case.weight is None else case.weight for case in listed]
    expected = [weight * UNITS[dialect.unit] for weight in weights]
    assert stifles["weight_kg"].fill_null(nan).to_list() == pytest.approx(
        expected, rel=1e-12, nan_ok=True
    )
    assert stifles["age_months"].to_list() == pytest.approx([case.months for case in listed])
    assert stifles["row"].to_list() == list(range(2, len(listed) + 2))
    missing = mapped.missing.filter(table="stifles", reason="not_examined").height
    assert missing == sum((case.weight is None) + (case.grade is None) for case in listed)
    assert mapped.findings.is_empty()


RICH = """
[durations]
weeks = ["wk"]
[missing]
not_recorded = ["-9", "?"]
[gauge_mm]
20 = 0.8
[[file]]
path = "cases.txt"
set_aside = [{ column = "Case", matches = "^TOTAL", reason = "totals row" }]
[[table]]
make = ["animals", "stifles", "procedures"]
from = "cases"
block = [
    { name = "left", words = { k = "1" }, values = { side = "left" } },
    { name = "right", words = { k = "2" }, values = { side = "right" } },
]
[table.columns]
local_animal = { column = "Case", from_above = true }
surgery_date = "Op"
weight_kg = { column = "Kg", unit = { kg = "kg", lb = "lb", oz = "oz" } }
age_months = { column = "Born", as = "birth_date" }
lameness_preop = { column = "Lame", split = "/", part = "{k}" }
breed = "Breed"
[table.columns.tb_wire_diameter_mm]
column = "Tech"
unit = "gauge"
pattern = "TB(.+)"
absent = "not_applicable"
[[table.list]]
column = "Tech"
separators = ["+"]
words = [
    { is = "BR", sets = { sulcoplasty_type = "block_recession" } },
    { pattern = "([1-4])K", sets = { kwire_count = "$1" } },
]
[[table]]
make = "complications"
from = "cases"
where = [{ column = "Events", filled = true }]
pieces = { column = "Events", separator = ";", pattern = "(?<what>[a-z]+) (?<when>.+)" }
[table.columns]
local_animal = { column = "Case", from_above = true }
side = { column = "Limb", codes = { L = "left", R = "right", LR = "both" }, inherit = true }
complication_type = { column = "what", codes = { seroma = "seroma" } }
detected_day = { column = "when", as = "duration", nominal_days = "half_step" }
"""
GOOD: dict[str, list[str]] = {
    "Case": ["A1", "A2", "", "TOTAL"], "Limb": ["L", "R", "LR", "?"],
    "Op": ["2021-03-04", "2020-02-30"], "Kg": ["4.2 kg", "9 lb 6 oz", "-9"],
    "Born": ["2019-01-01"], "Lame": ["1/2", "-9/3", "/"], "Breed": ["Pug"],
    "Tech": ["BR+2K+TB20", "BR"], "Events": ["seroma 2 wk; seroma 6 wk", ""],
}  # fmt: skip
text = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)


@st.composite
def wild_rows(draw: st.DrawFn) -> list[list[str]]:
    """Draw rows in which any cell may hold any text."""
    row = st.tuples(*(st.sampled_from(good) | text for good in GOOD.values()))
    return [list(cells) for cells in draw(st.lists(row, min_size=1, max_size=8))]


def written(rows: Sequence[Sequence[str]]) -> bytes:
    made = io.StringIO(newline="")
    csv.writer(made, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows([list(GOOD), *rows])
    return made.getvalue().encode()


def everything(mapped: Mapped) -> str:
    frames = [*mapped.tables.values(), mapped.findings, mapped.set_aside, mapped.columns,
              mapped.missing, mapped.marks, mapped.dates, mapped.ledger]  # fmt: skip
    return "".join(frame.write_json() for frame in frames)


@settings(some, max_examples=25)
@given(rows=wild_rows())
def test_any_text_in_any_cell_loses_no_row_and_is_at_worst_refused_in_one_message(
    rows: list[list[str]],
) -> None:
    try:
        mapped = intake(written(rows), RICH)
    except StudyError:
        event("refused")
        return
    event("read")
    told = mapped.ledger.row(0, named=True)
    assert told["source_rows"] == len(rows)
    assert told["mapped"] + told["set_aside"] + told["unreadable"] == len(rows)
    made = {row for frame in mapped.tables.values() for row in frame["row"] if row is not None}
    folded = set(range(2, len(rows) + 2)) - made
    assert len(folded) == told["set_aside"] + told["unreadable"]
    assert mapped.set_aside.height == told["set_aside"]


digits = st.text("0123456789", min_size=1)
IDENTIFIERS = st.one_of(
    st.from_regex(r"[a-z]{3,8}\.[a-z]{3,8}@[a-z]{4,9}\.(org|example)", fullmatch=True),
    st.from_regex(r"9[0-9]{14}", fullmatch=True),
    st.from_regex(r"\+4[0-9] [1-9][0-9]{2} [0-9]{7}", fullmatch=True),
    st.from_regex(r"[A-Z][a-z]{4,8}stra(ß|ss)e [1-9][0-9]", fullmatch=True),
)


@some
@given(
    planted=IDENTIFIERS, column=st.sampled_from(list(GOOD)), before=st.booleans(), rows=wild_rows()
)
def test_no_finding_or_error_says_what_an_identifying_cell_holds(
    planted: str, column: str, before: bool, rows: list[list[str]]
) -> None:
    place = list(GOOD).index(column)
    rows = [[cell.replace("\x00", "") for cell in row] for row in rows]
    rows[-1][place] = f"owner {planted}" if before else planted
    try:
        said = everything(intake(written(rows), RICH))
    except StudyError as refused:
        said = str(refused)
    assert planted not in said


@many
@given(
    value=st.decimals(-(10**9), 10**9, places=3),
    decimal=st.sampled_from(".,"),
    grouped=st.booleans(),
)
def test_a_number_is_read_back_and_never_in_another_grammar(
    value: Any, decimal: str, grouped: bool
) -> None:
    group = {".": ",", ",": "."}[decimal]
    marks = {",": group if grouped else "", ".": decimal}
    written_so = "".join(marks.get(char, char) for char in f"{value:,}")
    grammar = Grammar(decimal=decimal, group=group if grouped else "")
    other = Grammar(decimal=group, group=decimal if grouped else "")
    cell = pl.Series([written_so])
    assert read.read_numbers(cell, grammar).to_list() == [float(value)]
    assert read.read_numbers(cell, other).to_list() != [float(value)] or value == 0


def test_a_number_may_begin_with_its_decimal_mark_and_with_no_other() -> None:
    cells = pl.Series([".045", "-.5", ",045", ".", "1.", ".0.4"])
    assert read.read_numbers(cells, Grammar()).to_list() == [0.045, -0.5, None, None, None, None]
    german = Grammar(decimal=",", group=".")
    assert read.read_numbers(cells, german).to_list() == [None, None, 0.045, None, None, None]
    book = Grammar(decimal=",", group=".", workbook=True)  # its real numbers come with a point
    assert read.read_numbers(cells, book).to_list() == [0.045, -0.5, 0.045, None, None, None]


@many
@given(on=days, form=st.sampled_from(sorted(DATE_FORMS)))
def test_a_date_is_read_back_in_its_form(on: date, form: str) -> None:
    dialect = {"d": on.day, "m": on.month, "y": on.year, "s": on.year % 100}
    cell = DATE_FORMS[form].format(**dialect, n=MONTHS[on.month - 1].upper())
    grammar = Grammar(months={name: n for n, name in enumerate(MONTHS, start=1)})
    assert read.read_dates(pl.Series([cell]), grammar, [form]).to_list() == [on]


@many
@given(cells=st.lists(text, min_size=1), decimal=st.sampled_from([".", ",", "^", "\\"]))
def test_text_that_is_no_value_gives_nothing_and_never_fails(
    cells: list[str], decimal: str
) -> None:
    grammar = Grammar(decimal=decimal, group="'", durations={"wk": "weeks"}, gauge_mm={"20": 0.8})
    texts = pl.Series([f"x{cell}" for cell in cells], dtype=pl.String)
    assert read.read_numbers(texts, grammar).null_count() == len(cells)
    assert read.read_dates(texts, grammar, list(DATE_FORMS)).null_count() == len(cells)
    known = read.UNITS_TO["kg"]
    units = {"kg": "kg", "lb": "lb", "ga": "gauge"}
    assert len(read.read_with_units(texts, grammar, units=units, factors=known)) == len(cells)
    assert len(read.read_durations(texts, grammar, read.UNITS_TO["day"])) == len(cells)


@many
@given(weeks=st.integers(0, 500), past=st.integers(0, 6))
def test_a_duration_of_two_units_is_their_sum(weeks: int, past: int) -> None:
    grammar = Grammar(durations={"wo": "weeks", "t": "days"})
    cell = pl.Series([f"{weeks} Wo {past} T"])
    expected = timedelta(weeks=weeks, days=past).days
    assert read.read_durations(cell, grammar, read.UNITS_TO["day"]).to_list() == [expected]
