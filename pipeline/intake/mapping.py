"""What a mapping file says: how one clinic's export becomes canonical rows.

ClinicMapping          the whole file mappings/<clinic>.toml
├── SourceFile         one file or sheet of the export, and rows in it to set aside
└── TableMapping       the rows it makes: which tables, from which rows, which variable from where
    ├── Condition      which source rows are meant
    ├── Block          a part of a row that makes a row of its own (left, right, recheck 2)
    ├── Pieces         a cell that holds several events
    ├── Source         one variable from one cell (pipeline/intake/sources.py)
    └── WordList       several variables from one cell (there too)
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from pipeline.intake.sources import Grammar, Source, WordList
from schemas.codebook import CANONICAL_TABLES

# Formats whose cells have types: real numbers and dates come in one fixed form.
TYPED_FORMATS = ("xlsx", "ods", "parquet", "jsonl")
MISSING_REASONS = ("not_recorded", "not_applicable", "not_examined", "not_yet_due")
MADE_TABLES = CANONICAL_TABLES[1:]  # the clinic's own row comes from its facts
OPERATIONS = ("this", "first", "last", "left", "right")


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """True of a row whose cell is one of `texts`, matches `pattern`, or is filled or blank."""

    column: str
    texts: tuple[str, ...] = ()
    pattern: str = ""
    filled: bool | None = None
    negated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """Rows that carry no case, and why."""

    when: tuple[Condition, ...]
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceFile:
    """One text file, or one sheet of a workbook, as the clinic exports it.

    Attributes
    ----------
    path
        Inside the clinic's folder; with * or ? it stands for every file that matches.
    member
        File of a zip archive.
    header_rows, header_fill
        How many rows make the header, from header_row on; whether a text in the upper ones
        stands for the blank cells to its right too.
    hidden_rows, hidden_columns, merged_cells
        What becomes of those in a workbook: refuse; read or set_aside; read or ignore;
        first (only the first cell holds the value) or fill.
    ignore_others
        Sheets of the workbook or files of the archive that nobody reads.
    """

    name: str
    path: str
    format: str = "text"
    member: str = ""
    header_rows: int = 1
    header_fill: bool = False
    hidden_rows: str = "refuse"
    hidden_columns: str = "refuse"
    merged_cells: str = "refuse"
    ignore_others: tuple[str, ...] = ()
    encoding: str = "utf-8"
    delimiter: str = ","
    quote: str = '"'
    sheet: str = ""
    header_row: int = 1
    repeated_headers: str = "refuse"
    ignore: tuple[str, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    may_be_empty: bool = False  # a header alone is then nothing to ask about


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A part of a source row that makes a row of its own where one of `present` is filled."""

    name: str = ""
    words: Mapping[str, str] = field(default_factory=dict[str, str])
    values: Mapping[str, str] = field(default_factory=dict[str, str])
    present: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """A cell with several events: each piece makes a row; groups of `pattern` become columns."""

    column: str
    separator: str
    pattern: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TableMapping:
    """Rows of one or several canonical tables, made from rows of one source file.

    `fills` rows make no row of their own: they add to the rows of the same animal or stifle.
    """

    tables: tuple[str, ...]
    source: str
    fills: bool = False
    where: tuple[Condition, ...] = ()
    blocks: tuple[Block, ...] = (Block(),)
    pieces: Pieces | None = None
    columns: Mapping[str, tuple[Source, ...]] = field(default_factory=dict[str, tuple[Source, ...]])
    lists: tuple[WordList, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class AllowedIdentifier:
    """A column that may look like an identifier, and why it is none."""

    column: str
    kinds: tuple[str, ...]
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClinicMapping:
    """One mapping file.

    `file_name` is where the facts of the clinic stand, as a study folder shows it.
    """

    clinic_id: str
    path: str
    file_name: str
    codebook_version: str = ""
    facts: Mapping[str, str] = field(default_factory=dict[str, str])
    grammar: Grammar = field(default_factory=Grammar)
    files: tuple[SourceFile, ...] = ()
    ignore_files: tuple[str, ...] = ()
    tables: tuple[TableMapping, ...] = ()
    when_blank: Mapping[str, Mapping[str, str]] = field(
        default_factory=dict[str, Mapping[str, str]]
    )
    allowed: tuple[AllowedIdentifier, ...] = ()

    @property
    def variables(self) -> frozenset[str]:
        """Name every variable that the mapping gives a value to."""
        named = {name for rules in self.when_blank.values() for name in rules}
        for table in self.tables:
            named |= {*table.columns, *(name for words in table.lists for name in words.variables)}
            named |= {name for block in table.blocks for name in block.values}
        return frozenset(named)
