"""What a person must settle where the rows of one sheet are several kinds of event."""

from pipeline.draft.events import Kinds, is_list
from pipeline.draft.tables import SheetDraft
from pipeline.draft.toml_text import listed, quoted, shown
from pipeline.intake.mapping_confirm import ToConfirm

_MOST = 30  # texts that are named


def event_doubts(sheet: SheetDraft, where: str) -> list[ToConfirm]:
    """Ask about the column that parts the rows into kinds, or about those that may part them."""
    if sheet.events:
        return [_parted(sheet.events, where)]
    return [_mixed(item, sheet, where) for item in sheet.mixed]


def _parted(column: Kinds, where: str) -> ToConfirm:
    header = quoted(column.family.template)
    left = f"; no table reads: {_counted(column, column.left)}" if column.left else ""
    blank = column.family.n_cells - column.family.counts.total()
    left += f"; blank in {blank} rows, which no table reads" if blank else ""
    add = " Write a text that no table reads into the where of its kind." if left else ""
    return ToConfirm(
        what=f"{where}: kinds of event in {header}", guess=_told(column) + left,
        evidence="trade words; each kind of row has a [[table]] of its own",
        do=f"Check every where line; the same word may mean a recheck or an operation.{add}",
    )  # fmt: skip


def _mixed(column: Kinds, sheet: SheetDraft, where: str) -> ToConfirm:
    context = sheet.tables[0].context
    header, texts = quoted(column.family.template), _named(column, column.texts(context))
    own = listed(texts) if texts else '"…"'
    return ToConfirm(
        what=f"{where}: rows of several kinds", guess=f"every row is read as one of {context}",
        evidence=f"column {header} names kinds of row: {_told(column)}"
        + (f"; others: {_counted(column, column.left)}" if column.left else ""),
        do="If each row is of the kind that this column says, write "
        f"where = [{{ column = {header}, is = {own} }}] in the [[table]] of {context} and add a "
        "[[table]] for each other kind, as docs/onboarding.md shows.",
    )  # fmt: skip


def _told(column: Kinds) -> str:
    kinds = dict.fromkeys(column.of.values())
    return "; ".join(f"{context}: {_counted(column, column.texts(context))}" for context in kinds)


def _counted(column: Kinds, texts: tuple[str, ...] | dict[str, int]) -> str:
    """Name texts with their cells, and how many more there are."""
    counts, named = column.family.counts, _named(column, texts)
    told = ", ".join(f"{shown(text)} ({counts[text]})" for text in named)
    more = f"{len(texts) - len(named)} more texts" if len(texts) > len(named) else ""
    return " and ".join(filter(None, (told, more)))


def _named(column: Kinds, texts: tuple[str, ...] | dict[str, int]) -> list[str]:
    """Choose the texts that are shown: of a column of free text only those that stand twice."""
    counts, free = column.family.counts, not is_list(column.family)
    return [text for text in texts if not free or counts[text] > 1][:_MOST]
