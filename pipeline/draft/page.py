"""map.html: every column with what it seems to be, and at the top what needs a decision."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files

from markupsafe import Markup

from pipeline.draft.columns import Meaning
from pipeline.draft.dates import date_share
from pipeline.draft.doubts import all_doubts
from pipeline.draft.draft import Draft
from pipeline.draft.facts import Fact
from pipeline.draft.families import Family
from pipeline.draft.readings import Tongue
from pipeline.draft.tables import SheetDraft
from pipeline.draft.toml_text import LONGEST_TEXT
from pipeline.draft.vocabulary import LANGUAGES
from pipeline.report.blocks import Link, environment, page_style

MOST_EXAMPLES = 5
FEW_TEXTS = 25
_FREE_TEXT = "free text"
_CODES = "codes of its own"
_CAUTION = (
    "These are guesses from headers and values. The mapping runs only when each [[to_confirm]] "
    "block in it was checked and deleted."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeRow:
    """One text of a column with its count and what it would become."""

    text: str
    n: int
    becomes: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One variable that a column may give."""

    variable: str
    label: str
    rows_of: str
    evidence: str
    proved: bool
    unit: str
    codes: tuple[CodeRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnCard:
    """One column, or one family of repeated columns, as the page shows it."""

    header: str
    stands_for: str
    seen: str
    filled: str
    examples: tuple[str, ...]
    note: str
    proposals: tuple[Proposal, ...]


def map_page(draft: Draft) -> str:
    """Write the whole page."""
    sheets = [
        {"name": sheet.grid.name, "file": sheet.grid.raw.path.name, "sheet": sheet.grid.raw.sheet,
         "rows": sheet.grid.n_rows, "header_row": sheet.grid.header.header_row,
         "tables": sheet.tables,
         "guesses": (*sheet.grid.raw.dialect.guesses, sheet.grid.guess),
         "cards": cards(sheet, draft.tongue)}
        for sheet in draft.sheets
    ]  # fmt: skip
    templates = files("pipeline.draft") / "templates"
    title, doubts = f"Draft of the mapping of {draft.clinic_id}", all_doubts(draft)
    found = "1 sheet" if len(sheets) == 1 else f"{len(sheets)} sheets"
    return environment().from_string((templates / "map.html.j2").read_text("utf-8")).render(
        title=title, heading=title, caution=_CAUTION,
        design=f"{found}, headers mostly {LANGUAGES[draft.tongue.language]}. {len(doubts)} guesses "
        "wait for a decision.",
        contents=[
            Link("#decide", "What needs a decision"), Link("#lacking", "What no column gives"),
            *(Link(f"#sheet-{place}", sheet.grid.name)
              for place, sheet in enumerate(draft.sheets, start=1)),
        ],
        style=page_style() + Markup((templates / "map.css").read_text("utf-8")),
        sheets=sheets, doubts=doubts,
        unknown=[(sheet.grid.name, item.template) for sheet in draft.sheets
                 for item in sheet.unknown],
        identifiers=[(sheet.grid.name, column.header, item.identifier) for sheet in draft.sheets
                     for item in sheet.identifiers for column in item.columns],
        lacking=draft.lacking, dates=draft.dates, marks=draft.tongue.marks,
    )  # fmt: skip


def cards(sheet: SheetDraft, tongue: Tongue) -> list[ColumnCard]:
    """Show every column of a sheet in its order."""
    families: dict[str, Family] = {}
    by_family: dict[str, list[tuple[str, Meaning]]] = {}
    for table in sheet.tables:
        for item in (*table.meanings, *table.instead):
            families[item.family.template] = item.family
            by_family.setdefault(item.family.template, []).append((table.context, item))
    events = {table.event[0] for table in sheet.tables}
    for item in (*sheet.unknown, *sheet.comments, *sheet.identifiers):
        families[item.template] = item
    ordered = sorted(families.values(), key=lambda item: item.columns[0].place)
    comments = {item.template for item in sheet.comments}
    return [
        _card(item, by_family.get(item.template, []), tongue, comment=item.template in comments)
        for item in ordered if item.template not in events
    ]  # fmt: skip


def _card(
    family: Family, meanings: Sequence[tuple[str, Meaning]], tongue: Tongue, *, comment: bool
) -> ColumnCard:
    counts = Counter[str]() if family.identifier else family.counts
    seen = _seen(family, counts, tongue, comment=comment)
    own = any(item.reading.how == "text" for _, item in meanings)
    if any(column.birth for column in family.columns):
        counts = Counter[str]()  # a date of birth is not shown, only the age made of it
    filled = sum(1 for column in family.columns for cell in column.cells if cell is not None)
    return ColumnCard(
        header=family.template, seen=seen,
        stands_for=f"{len(family.columns)} columns" if len(family.columns) > 1 else "",
        filled=f"{filled} of {family.n_cells} cells ({filled / max(family.n_cells, 1):.0%})",
        examples=_examples(counts, seen, own=own), note=_note(family, meanings, comment=comment),
        proposals=tuple(_proposal(context, item, tongue) for context, item in meanings),
    )  # fmt: skip


def _seen(family: Family, counts: Counter[str], tongue: Tongue, *, comment: bool) -> str:
    """Name the type that the cells seem to have."""
    if family.identifier or comment or not counts:
        kind = f"looks like a direct identifier ({family.identifier})"
        return kind if family.identifier else _FREE_TEXT if comment else "empty"
    if date_share(counts) >= 0.8:
        return "dates"
    numbers = sum(n for text, n in counts.items() if tongue.marks.number(text) is not None)
    if numbers >= 0.8 * counts.total():
        return "numbers"
    short = all(len(text) <= LONGEST_TEXT for text in counts)
    if len(counts) <= FEW_TEXTS and (short or counts.total() > 3 * len(counts)):
        return f"{len(counts)} different texts"
    words = sum(n for text, n in counts.items() if text.count(" ") >= 3)
    return _FREE_TEXT if words >= 0.2 * counts.total() else _CODES


def _examples(counts: Counter[str], seen: str, *, own: bool) -> tuple[str, ...]:
    """Give the most frequent texts; of codes of animals and people only the shape."""
    if seen == _FREE_TEXT or not counts:
        return ()
    if own or seen == _CODES:
        shapes = Counter[str]()
        for text, n in counts.items():
            shapes[re.sub(r"[^\W\d_]", "A", re.sub(r"\d", "9", text))] += n
        return tuple(f"shape {text}" for text, _ in _most(shapes)[:2])
    return tuple(text for text, _ in _most(counts) if len(text) <= LONGEST_TEXT)[:MOST_EXAMPLES]


def _most(counts: Counter[str]) -> list[tuple[str, int]]:
    return sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))


def _note(family: Family, meanings: Sequence[tuple[str, Meaning]], *, comment: bool) -> str:
    hidden = sum(column.n_hidden for column in family.columns)
    if hidden and not family.identifier:
        return f"{hidden} cells look like direct identifiers and are not shown."
    if family.identifier:
        return "It is not read, and nothing of it is shown. Ask the clinic to leave it out."
    if comment:
        return "Free text is not read, and nothing of it is shown."
    if not meanings:
        return "Not recognised. Add it to a [[table]], or to ignore in its [[file]]."
    return ""


def _proposal(context: str, meaning: Meaning, tongue: Tongue) -> Proposal:
    reading = meaning.reading
    variable = tongue.variables.get(reading.variable)
    told = "; ".join(filter(None, (f"header like {meaning.phrase}" if meaning.phrase else
                                   "by its values alone", reading.evidence)))  # fmt: skip
    unit = reading.unit.evidence if reading.unit else ""
    codes = tuple(
        CodeRow(text=item.text if len(item.text) <= LONGEST_TEXT else f"({len(item.text)} letters)",
                n=item.n, becomes=item.code or item.reason, why=item.evidence)
        for item in reading.codes
    )  # fmt: skip
    if reading.facts:
        codes = tuple(_fact_row(item) for item in reading.facts.items)
    return Proposal(
        variable=reading.variable, label=variable.label if variable else "Several variables",
        rows_of=context.replace("_", " "), evidence=told, proved=meaning.proved, unit=unit,
        codes=codes,
    )  # fmt: skip


def _fact_row(item: Fact) -> CodeRow:
    sets = [f"{name} = {text}" for name, text in item.sets.items()]
    sets += [f"{name}: {why}" for name, why in item.missing.items()]
    why = f"not understood: {' '.join(item.left)}" if item.left else "trade words"
    shown = item.text if len(item.text) <= LONGEST_TEXT else f"({len(item.text)} letters)"
    return CodeRow(text=shown, n=item.n, becomes=", ".join(sets) or item.reason,
                   why="word for a missing value" if item.reason else
                   why if len(item.text) <= LONGEST_TEXT else "too long for a word")  # fmt: skip
