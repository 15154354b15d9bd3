"""How an invented clinic writes, and what its rows say, drawn at random."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from hypothesis import strategies as st

MONTHS = ("ene", "feb", "mar", "abr", "may", "jun", "jul", "août", "sep", "oct", "nov", "déc")
DATE_FORMS = {
    "DD/MM/YYYY": "{d:02}/{m:02}/{y}", "MM/DD/YYYY": "{m}/{d}/{y}", "YYYYMMDD": "{y}{m:02}{d:02}",
    "DD.MM.YY": "{d}.{m}.{s:02}", "DD-MMM-YYYY": "{d:02}-{n}-{y}",
    "DD MMM YYYY hh:mm": "{d} {n} {y} 09:30",
}  # fmt: skip
UNITS = {"kg": 1.0, "g": 0.001, "lb": 0.45359237, "oz": 0.45359237 / 16}  # exact by definition


@dataclass(frozen=True, kw_only=True)
class Dialect:
    """How one invented clinic writes."""

    delimiter: str
    quote: str
    encoding: str
    line_end: str
    decimal: str
    group: str
    date_form: str
    unit: str
    missing: str

    def number(self, value: float, places: int) -> str:
        text = f"{value:,.{places}f}" if self.group else f"{value:.{places}f}"
        marks = {",": self.group, ".": self.decimal}
        return "".join(marks.get(char, char) for char in text)

    def day(self, on: date) -> str:
        form = DATE_FORMS[self.date_form]
        return form.format(d=on.day, m=on.month, y=on.year, s=on.year % 100, n=MONTHS[on.month - 1])

    def write(self, rows: Sequence[Sequence[str]]) -> bytes:
        made = io.StringIO(newline="")
        writer = csv.writer(
            made, delimiter=self.delimiter, quotechar=self.quote, lineterminator=self.line_end
        )
        writer.writerows(rows)
        return made.getvalue().encode(self.encoding)

    def mapping(self) -> str:
        months = ", ".join(f'"{name}" = {n}' for n, name in enumerate(MONTHS, start=1))
        group = f'group = "{self.group}"\n' if self.group else ""
        return f"""
[numbers]
decimal = "{self.decimal}"
{group}[dates]
formats = ["{self.date_form}"]
months = {{ {months} }}
[durations]
years = ["J"]
months = ["Mo"]
[missing]
not_examined = ["{self.missing}"]
[[file]]
path = "cases.txt"
delimiter = "{self.delimiter.replace(chr(9), chr(92) + "t")}"
quote = '{self.quote}'
encoding = "{self.encoding}"
[[table]]
make = ["animals", "stifles"]
from = "cases"
[table.columns]
local_animal = "Nr"
side = {{ column = "Côté", codes = {{ "côté gauche" = "left", "D, droit" = "right" }} }}
surgery_date = "Op"
weight_kg = {{ column = "Poids", unit = "{self.unit}" }}
age_months = {{ column = "Âge", as = "duration" }}
grade_preop = {{ column = "Stade", out_of = 4 }}
"""


@st.composite
def dialects(draw: st.DrawFn) -> Dialect:
    decimal = draw(st.sampled_from([".", ","]))
    quote = draw(st.sampled_from(['"', '"', "~"]))
    return Dialect(
        delimiter=draw(st.sampled_from([",", ";", "\t", "|"])), quote=quote,
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "latin-1", "utf-16"])),
        line_end=draw(st.sampled_from(["\n", "\r\n"])), decimal=decimal,
        group=draw(st.sampled_from(["", "'", ",." .replace(decimal, "")])),
        date_form=draw(st.sampled_from(sorted(DATE_FORMS))),
        unit=draw(st.sampled_from(sorted(UNITS))),
        missing=draw(st.sampled_from(["k.A.", "-9", "?", "n. é."])),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Case:
    """What one row says; None is the clinic's word for a missing value."""

    side: str
    on: date
    weight: float | None
    months: int
    grade: int | None

    def cells(self, number: int, dialect: Dialect) -> list[str]:
        side = {"left": "côté gauche", "right": "D, droit"}[self.side]
        weight = dialect.missing if self.weight is None else dialect.number(self.weight, 2)
        grade = dialect.missing if self.grade is None else f"{self.grade}/4"
        age = f"{self.months // 12}J {self.months % 12}Mo"
        return [f"00{number}", side, dialect.day(self.on), weight, age, grade]


days = st.dates(date(2005, 1, 1), date(2024, 12, 31))
cases = st.builds(
    Case, side=st.sampled_from(["left", "right"]), on=days,
    weight=st.none() | st.integers(1, 9_999_999).map(lambda hundredths: hundredths / 100),
    months=st.integers(0, 300), grade=st.none() | st.integers(1, 4),
)  # fmt: skip
HEADER = ["Nr", "Côté", "Op", "Poids", "Âge", "Stade"]
