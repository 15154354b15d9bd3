"""What a person must settle about the clinic, the way it writes, and its files."""

from pipeline.draft.draft import Draft
from pipeline.draft.event_doubts import event_doubts
from pipeline.draft.header import Grid
from pipeline.draft.tables import SheetDraft
from pipeline.draft.toml_text import quoted
from pipeline.draft.vocabulary import LANGUAGES
from pipeline.intake.mapping_confirm import ToConfirm


def all_doubts(draft: Draft) -> tuple[ToConfirm, ...]:
    """Gather every block, in the order of the file."""
    found = [*general_doubts(draft), *date_doubts(draft)]
    found += [item for sheet in draft.sheets for item in file_doubts(sheet, draft)]
    return (*found, *(item for made in draft.made for item in made.doubts))


def general_doubts(draft: Draft) -> list[ToConfirm]:
    """Ask for the facts of the clinic first, then about numbers, times and missing words."""
    found = [ToConfirm(
        what="Facts about the clinic", guess="accrual and data lock from the dates in the export",
        evidence="an export does not say what was searched, nor when it was drawn",
        do="Fill in [clinic] as the clinic answers.",
    )]  # fmt: skip
    marks = draft.tongue.marks
    if not marks.guess.proved:
        found.append(ToConfirm(
            what="Decimal mark", guess=quoted(marks.decimal), evidence=marks.guess.evidence,
            do="Compare a weight in the export with the clinic's own record.",
        ))  # fmt: skip
    if draft.durations:
        told = ", ".join(f"{word} = {unit}" for word, unit in draft.durations.items())
        found.append(ToConfirm(
            what="Words for units of time", guess=told,
            evidence=f"trade words, {LANGUAGES[draft.tongue.language]} first",
            do="Check [durations]: J may be years or days, M months or minutes.",
        ))  # fmt: skip
    if draft.gauges:
        found.append(ToConfirm(
            what="Wire gauges", guess="the usual orthopaedic table",
            evidence=f"gauges {', '.join(draft.gauges)} in the export",
            do="Write the clinic's own table under [gauge_mm].",
        ))  # fmt: skip
    if draft.missing:
        told = ", ".join(f"{quoted(word)} = {why} ({n})" for word, (why, n) in
                         draft.missing.items())  # fmt: skip
        found.append(ToConfirm(
            what="Words for a missing value", guess=told, evidence="usual words; cells counted",
            do="Ask the clinic what each means; mend [missing].",
        ))  # fmt: skip
    return found


def date_doubts(draft: Draft) -> list[ToConfirm]:
    """Ask about the order of day and month where no value proves it."""
    return [
        ToConfirm(
            what=f"Dates written {item.form}", guess=item.form, evidence=item.evidence,
            do="Ask the clinic for one date it is sure of."
            + (f" The other order is {item.rivals[0]}." if item.rivals else ""),
        )
        for item in draft.dates if not item.proved
    ]  # fmt: skip


def file_doubts(sheet: SheetDraft, draft: Draft) -> list[ToConfirm]:
    """Ask about the way a file is written, rows to set aside, and what a workbook hides."""
    grid, raw = sheet.grid, sheet.grid.raw
    where = f"{raw.path.name} {raw.sheet}".strip()
    found = [
        ToConfirm(what=f"{where}: {guess.what}", guess=quoted(guess.value),
                  evidence=guess.evidence, do="Look at the file in a text editor.")
        for guess in raw.dialect.guesses if not guess.proved
    ]  # fmt: skip
    found += [] if grid.guess.proved else [_header(grid, where)]
    found += _unread_columns(sheet, where)
    if raw.hidden != (0, 0):
        found.append(ToConfirm(
            what=f"{where}: hidden rows and columns", guess="they are read",
            evidence=f"{raw.hidden[0]} rows and {raw.hidden[1]} columns are hidden",
            do='Ask the clinic; "set_aside" and "ignore" leave them out.',
        ))  # fmt: skip
    found += event_doubts(sheet, where)
    aside = draft.aside[grid.name]
    if aside:
        told = ", ".join(f"{item.column} = {quoted(item.text)} ({item.reason}, {item.n})"
                         for item in aside)  # fmt: skip
        found.append(ToConfirm(
            what=f"{where}: rows set aside", guess=told, evidence="words for totals and tests",
            do="Look at these rows; take a line out of set_aside if it is a case.",
        ))  # fmt: skip
    return found


def _header(grid: Grid, where: str) -> ToConfirm:
    """Ask how many rows make the names of the columns."""
    first, rows = grid.header.header_row, grid.header.header_rows
    do = f"Look at the first rows; header_row = {first + 1} alone takes the lower row."
    if rows == 1:
        do = (f"If the titles tell columns apart, write header_row = {first - 1}, header_rows = 2 "
              'and header_fill = true; a column below is then "title name".')  # fmt: skip
    return ToConfirm(
        what=f"{where}: header row", evidence=grid.guess.evidence, do=do,
        guess=f"row {first}" if rows == 1 else f"rows {first} and {first + 1} together",
    )  # fmt: skip


def _unread_columns(sheet: SheetDraft, where: str) -> list[ToConfirm]:
    """Name the columns that no table of the draft reads, and why."""
    found: list[ToConfirm] = []
    if sheet.loose:
        told = ", ".join(quoted(item.template) for item in sheet.loose)
        found.append(ToConfirm(
            what=f"{where}: columns of several visits", guess=f"they are not read: {told}",
            evidence="they say the same under different numbers and make no regular block",
            do="Write a [[table]] with a block for each number; see docs/mapping.md.",
        ))  # fmt: skip
    if sheet.unknown:
        told = ", ".join(f"{quoted(item.template)} ({item.counts.total()} of {item.n_cells})"
                         for item in sheet.unknown)  # fmt: skip
        found.append(ToConfirm(
            what=f"{where}: columns not recognised", guess=f"they are not read: {told}",
            evidence="no header or texts of the trade that are known; cells filled in brackets",
            do="Add each to a [[table]], or to ignore in its [[file]].",
        ))  # fmt: skip
    return found
