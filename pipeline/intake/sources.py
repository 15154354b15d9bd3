"""What a mapping says of one cell: which variables it gives, and how its text is read.

Grammar            how the clinic writes numbers, dates, durations and missing values
Source             one variable from one cell
WordList           several variables from one cell
├── Word           what one item of it sets
└── Otherwise      what it says by not naming something
"""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Grammar:
    """How this clinic writes numbers, dates, durations and missing values."""

    decimal: str = "."
    group: str = ""
    date_formats: tuple[str, ...] = ("YYYY-MM-DD",)
    months: Mapping[str, int] = field(default_factory=dict[str, int])
    durations: Mapping[str, str] = field(default_factory=dict[str, str])  # word -> days, weeks, …
    gauge_mm: Mapping[str, float] = field(default_factory=dict[str, float])
    missing: Mapping[str, str] = field(default_factory=dict[str, str])  # lower case -> reason
    blank: str = "not_recorded"
    workbook: bool = False  # real numbers and dates come in one fixed form


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where one variable stands, and how its text is to be read.

    Attributes
    ----------
    columns
        Headers; several are joined by " | " before reading. Empty where `value` is declared.
    codes
        Text in lower case to canonical code; what is not listed is a finding.
    notes
        Texts whose code is an approximation, and what is said of it.
    unit
        Unit of the number; or with `units`, unit by the suffix in the cell.
    reads
        "" by the variable's type, or date, birth_date, duration, text.
    split, part, parts
        Mark between the values of a cell, which of them is meant, and how many there must be.
    absent
        Why the value is missing where the cell is filled but `pattern` is not in it.
    blank
        Why the value is missing where the cell is blank; "" as elsewhere in the mapping.
    from_above
        A blank cell stands for the nearest filled cell above it.
    counted_from
        Operation from which a number of days is counted.
    nominal_days, half_step
        Half width of a planned day: given, or half of the unit that the cell uses.
    only_if
        Other variable and its codes; where it has another code, this one is not applicable.
    """

    columns: tuple[str, ...] = ()
    value: str | None = None
    pattern: str = ""
    absent: str = ""
    split: str = ""
    part: str = ""
    parts: int = 2
    blank: str = ""
    from_above: bool = False
    codes: Mapping[str, str] = field(default_factory=dict[str, str])
    notes: Mapping[str, str] = field(default_factory=dict[str, str])
    other_texts: str = "refuse"
    unit: str = ""
    units: Mapping[str, str] = field(default_factory=dict[str, str])
    reads: str = ""
    formats: tuple[str, ...] = ()
    out_of: int | None = None
    missing: Mapping[str, str] = field(default_factory=dict[str, str])
    counted_from: str = "this"
    nominal_days: int | None = None
    half_step: bool = False
    only_if: Mapping[str, tuple[str, ...]] = field(default_factory=dict[str, tuple[str, ...]])
    when_filled: str = ""
    inherit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One item of a cell that holds several facts: what it sets, "$1" being its first group."""

    pattern: str
    sets: Mapping[str, str]
    missing: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Otherwise:
    """What a filled cell says by not naming it, where the variables of `where` have those codes."""

    where: Mapping[str, tuple[str, ...]]
    sets: Mapping[str, str]
    missing: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class WordList:
    """A cell that holds several facts, parted by separators."""

    column: str
    separators: tuple[str, ...]
    words: tuple[Word, ...]
    otherwise: tuple[Otherwise, ...]

    @property
    def variables(self) -> tuple[str, ...]:
        """Name every variable this cell can set."""
        named = [name for word in self.words for name in (*word.sets, *word.missing)]
        named += [name for rule in self.otherwise for name in (*rule.sets, *rule.missing)]
        return tuple(dict.fromkeys(named))
