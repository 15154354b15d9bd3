"""Which row holds the column names, and the columns below it."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import polars as pl

from pipeline.draft.dialect import Guess
from pipeline.draft.raw import RawSheet
from pipeline.draft.titles import name_groups
from pipeline.draft.vocabulary import meant, read_vocabulary
from pipeline.intake.header import join_header, last_header_row
from pipeline.intake.mapping import SourceFile
from pipeline.intake.screen_cells import TEXT, kinds_in, of_names
from pipeline.intake.screen_headers import header_kind, says_only_whose
from pipeline.intake.screen_patterns import KINDS
from pipeline.intake.sheet import Record
from shared.errors import InputFileError

MOST_COLUMNS = 1000
_LOOK_AT = 20
_NAMED = 6  # titles that a guess names
_NUMBER = re.compile(r"[-+]?[\d.,/: -]*\d[\d.,/: -]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its header, its cells row by row (None = blank), and what must not be shown.

    `identifier` names the kind of direct identifier that header or cells look like; `birth`
    columns hold dates of birth; `n_hidden` cells looked like an identifier and are blank here.
    `title` is what stands over it in a header of two rows.
    """

    place: int
    header: str
    cells: tuple[str | None, ...]
    identifier: str = ""
    birth: bool = False
    n_hidden: int = 0
    title: str = ""

    @property
    def counts(self) -> Counter[str]:
        """Count each distinct text."""
        return Counter(cell for cell in self.cells if cell is not None)

    @property
    def below_title(self) -> str:
        """Give its name without the title above it."""
        return self.header.removeprefix(self.title).strip() or self.header


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """One sheet with its header found."""

    raw: RawSheet
    name: str
    header: SourceFile
    columns: tuple[Column, ...]
    repeated: bool
    guess: Guess

    @property
    def n_rows(self) -> int:
        """Count the rows below the header."""
        return len(self.columns[0].cells) if self.columns else 0


def lay_out(raw: RawSheet, name: str) -> Grid:
    """Find the header row and part the columns.

    Raises
    ------
    InputFileError
        If no row looks like a header, or there are too many columns to guess at.
    """
    found, sure = _settle(raw, *_header_row(raw))
    bottom = last_header_row(found)
    names = [_tidy(cell) or "" for cell in join_header(raw.records, found, raw.merged)[bottom - 1]]
    body = [record for record in raw.records[bottom:] if any(_tidy(cell) for cell in record)]
    if len(names) > MOST_COLUMNS:
        raise InputFileError(
            f"{raw.path} {raw.sheet}".strip(), f"it has {len(names)} columns, more than "
            f"{MOST_COLUMNS}", do="Draft the mapping from the columns that are needed.",
        )  # fmt: skip
    headers, repeated = _distinct(names)
    columns = [replace(column, title=_title(column, raw.records[bottom - 1], found))
               for column in _columns(headers, body)]  # fmt: skip
    kept = [item for item in columns if names[item.place] or item.counts]
    return Grid(
        raw=raw, name=name, header=found, columns=tuple(kept), repeated=repeated,
        guess=Guess(what="header row", value=str(found.header_row), evidence=found.name,
                    proved=sure),
    )  # fmt: skip


def _title(column: Column, names: Record, header: SourceFile) -> str:
    """Give what a joined header says before the column's own name; units stand behind it."""
    own = _tidy(names[column.place]) if column.place < len(names) else None
    if header.header_rows == 1 or not own or _is_unit(own) or column.identifier:
        return ""
    before, found, _ = column.header.partition(f" {own}")
    return before if found else ""


def _header_row(raw: RawSheet) -> tuple[int, str]:
    """Take the first row that is filled like the rows below it and holds words, not numbers."""
    head = raw.records[:_LOOK_AT]
    filled = [[cell for cell in map(_tidy, record) if cell] for record in head]
    width = max((len(cells) for cells in filled), default=0)
    for number, cells in enumerate(filled, start=1):
        words = [cell for cell in cells if not _NUMBER.fullmatch(cell)]
        if len(cells) >= 0.6 * width and len(words) >= 0.8 * len(cells):
            above = f"; {number - 1} title rows above it" if number > 1 else ""
            return number, f"first row with {len(cells)} of {width} cells filled by words{above}"
    raise InputFileError(
        f"{raw.path} {raw.sheet}".strip(), "no row looks like a row of column names",
        do="Ask the clinic to export with column names.",
    )  # fmt: skip


def _settle(raw: RawSheet, number: int, why: str) -> tuple[SourceFile, bool]:
    """Take in a row of groups above the names, or of names or units below them; say if sure.

    The name of the source says why.
    """
    above = raw.records[number - 2] if number > 1 else []
    below = raw.records[number] if len(raw.records) > number else []
    names = Counter(filter(None, map(_tidy, raw.records[number - 1])))
    groups = [cell for cell in map(_tidy, above) if cell]
    cells = [cell for cell in map(_tidy, below) if cell]
    twice = bool(names) and max(names.values()) > 1
    titles = len(groups) > 1 and not any(map(_NUMBER.fullmatch, groups))
    if len(groups) > 1 and (twice or (titles and name_groups(groups))):
        told = "names repeat below" if twice else "kinds of row are named by"
        return _two_rows(number - 1, f"{told} the titles {_some(groups)}", fill=True), False
    if twice and name_groups(list(names)) and _are_names(cells, raw.records[number + 1 :]):
        return _two_rows(number, f"the titles {_some(names)} repeat over other names"), False
    if cells and all(map(_is_unit, cells)):
        return _two_rows(number, f"{why}; units in the row below"), False
    if titles:
        why += f"; the titles {_some(groups)} over it are not read"
    return SourceFile(name=why, path="", header_row=number), not titles


def _two_rows(number: int, why: str, *, fill: bool = False) -> SourceFile:
    return SourceFile(name=why, path="", header_row=number, header_rows=2, header_fill=fill)


def _some(titles: Iterable[str]) -> str:
    return ", ".join(f'"{title}"' for title in list(titles)[:_NAMED])


def _are_names(cells: Sequence[str], body: Sequence[Record]) -> bool:
    """Tell whether a row holds names: words that differ, over columns of numbers and dates."""
    if any(map(_NUMBER.fullmatch, cells)) or len(set(cells)) < max(len(cells), 2):
        return False
    below = [cell for record in body[:_LOOK_AT] for cell in map(_tidy, record) if cell]
    return any(map(_NUMBER.fullmatch, below)) and not set(cells) & set(below)


def _is_unit(cell: str) -> bool:
    plain = cell.strip("()[] ")
    return plain != cell or meant(plain, read_vocabulary().units, "en") is not None


def _columns(headers: Sequence[str], body: Sequence[Record]) -> list[Column]:
    """Part the columns; a text that looks like a direct identifier goes no further than here."""
    cells = {
        header: tuple(_tidy(record[place]) if place < len(record) else None for record in body)
        for place, header in enumerate(headers)
    }
    frame = pl.DataFrame(
        {f"c{at}": list(texts) for at, texts in enumerate(cells.values())},
        schema={f"c{at}": pl.String() for at in range(len(cells))},
    )
    seen = _kinds(kinds_in(frame, frame.columns))
    seen |= _kinds(kinds_in(pl.DataFrame({TEXT: list(headers)}), [TEXT]))
    return [
        _column(place, header, cells[header], seen) for place, header in enumerate(headers)
    ]  # fmt: skip


def _kinds(seen: pl.DataFrame) -> dict[str, str]:
    return {row[TEXT]: next(kind for kind in KINDS if row[kind])
            for row in seen.iter_rows(named=True)}  # fmt: skip


def _column(
    place: int, header: str, cells: tuple[str | None, ...], seen: Mapping[str, str]
) -> Column:
    """Hide single cells with an identifier, or the column if its header or most cells say so."""
    if header in seen:
        return Column(place=place, header=f"(column {place + 1})", cells=(None,) * len(cells),
                      identifier=seen[header])  # fmt: skip
    kind = header_kind(header) or ""
    held = Counter(seen[cell] for cell in cells if cell is not None and cell in seen)
    filled = pl.Series([cell for cell in cells if cell], dtype=pl.String)
    if says_only_whose(header) and of_names(filled):
        kind = "name"
    if not kind and held and 2 * held.total() > len(filled):
        kind = held.most_common(1)[0][0]
    birth = kind == "birth_date"
    shown = tuple(None if cell in seen else cell for cell in cells)
    return Column(
        place=place, header=header, cells=shown, identifier="" if birth else kind, birth=birth,
        n_hidden=held.total(),
    )  # fmt: skip


def _tidy(cell: str | None) -> str | None:
    text = " ".join((cell or "").split())
    return text or None


def _distinct(names: Sequence[str]) -> tuple[list[str], bool]:
    """Give headers that stand twice a number, as the intake does."""
    counts: Counter[str] = Counter()
    found: list[str] = []
    for place, name in enumerate(names, start=1):
        label = name or f"(column {place})"
        counts[label] += 1
        found.append(label if counts[label] == 1 else f"{label} ({counts[label]})")
    return found, max(counts.values(), default=0) > 1
