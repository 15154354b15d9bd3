"""Documented corrections: applied where the old raw text still stands, never silently."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import polars as pl

from pipeline.checks.blanks import ABOUT_BLANKS
from pipeline.checks.closed import KEEPS_ITS_ROW, asked_of, known_missing, without_answered
from pipeline.checks.delete_rows import delete_rows, set_aside_unread
from pipeline.checks.mend import mend
from pipeline.checks.place import Words, rows_named, words_of
from pipeline.checks.stale import is_settled, stale_findings
from pipeline.checks.words import query_ids
from pipeline.corrections_file import CONFIRMED, CORRECTED, DELETED, UNKNOWN, Correction
from pipeline.intake.days import recount_days
from pipeline.intake.mapped import Mapped
from schemas.codebook import Variable
from schemas.findings import query_id

TRAIL_SCHEMA = {
    name: pl.String()
    for name in ("row_id", "table", "variable", "decision", "old_raw", "new", "query_id", "reason",
                 "who", "when")
}  # fmt: skip
GONE = "K01"  # asks about an answer whose cell says something else now


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corrected:
    """Mapped rows after correction.

    Attributes
    ----------
    confirmed
        Ids of questions answered "correct as it is" about cells that still say the same.
    closed
        Ids of questions answered "cannot be found": not asked again, but what they stop or hold
        stays stopped or held.
    applied, silenced, settled, stale
        Answers that changed a cell or left a row out, confirmations that hold, answers that the
        export itself says by now, and those whose old text no longer stands (finding K01).
    trail
        One row per cell and answer in force (``TRAIL_SCHEMA``).
    """

    mapped: Mapped
    confirmed: frozenset[str]
    applied: int
    silenced: int
    stale: int
    settled: int = 0
    closed: frozenset[str] = frozenset()
    trail: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=TRAIL_SCHEMA))


@dataclass(slots=True, kw_only=True)
class _Work:
    """What the passes over the corrections have come to."""

    now: Mapped
    mended: list[tuple[str, str]] = field(default_factory=list[tuple[str, str]])
    kept: list[tuple[Correction, tuple[str, ...]]] = field(
        default_factory=list[tuple[Correction, tuple[str, ...]]]
    )
    closed: set[str] = field(default_factory=set[str])


def correct(mapped: Mapped, corrections: Sequence[Correction], codebook: tuple[Variable, ...]
            ) -> Corrected:  # fmt: skip
    """Apply corrections to the cells they name, and collect what the clinics confirmed.

    A question of a later round may name a row by a day that an earlier answer moved; so what
    fits no row yet is tried again once the days are counted anew.
    """
    variables = {(item.table, item.name): item for item in codebook}
    work, waiting = _Work(now=mapped), list(corrections)
    while waiting:
        words: dict[str, Words] = {}
        left = [item for item in waiting if not _answer(work, item, variables, words)]
        if work.mended:
            settled = _settled(work.mended, work.now, mapped)
            work.now = recount_days(work.now, codebook, settled=settled)
        if len(left) == len(waiting):
            break
        waiting = left
    return _outcome(work, waiting, corrections, variables)


def _answer(work: _Work, item: Correction, variables: dict[tuple[str, str], Variable],
            words: dict[str, Words]) -> bool:  # fmt: skip
    """Do what one line says; false where its row or its old text is not there."""
    if not item.table:
        return _answer_of_no_row(work, item)
    if item.table not in words:
        words[item.table] = words_of(work.now.tables, item.table)
    rows = rows_named(words[item.table], work.now.tables[item.table], item)
    stands = rows.filter("stands")["row_id"]
    whole_file = item.decision == CONFIRMED and _of_no_row(item)
    gone = item.decision == CONFIRMED and item.new == GONE and not rows.height
    if not stands.len() and not whole_file and not gone:
        return False
    if item.decision == CORRECTED:
        work.now = mend(work.now, stands, variables[item.table, item.variable], item)
        work.mended += [(row_id, item.variable) for row_id in stands]
    elif item.decision == DELETED:
        work.now = delete_rows(work.now, item.table, stands)
    elif item.decision == UNKNOWN and item.variable in KEEPS_ITS_ROW:
        work.closed |= asked_of(work.now, item, stands)
    elif item.decision == UNKNOWN:
        work.now = known_missing(work.now, item, stands)
        work.mended += [(row_id, item.variable) for row_id in stands]
    work.kept.append((item, tuple(stands)))
    return True


def _answer_of_no_row(work: _Work, item: Correction) -> bool:
    """Settle a question about a row that is in no table, or about a file nobody reads."""
    found = work.now.findings
    about = (pl.col("clinic_id") == item.clinic) & (pl.col("table") == "") & (
        pl.col("key") == item.animal
    )  # fmt: skip
    if item.decision == DELETED:
        if found.filter(about).is_empty():
            return False
        work.now = set_aside_unread(work.now, found.filter(about))
    work.kept.append((item, ()))
    return True


def _of_no_row(item: Correction) -> bool:
    """Say whether the question was about a whole file or export."""
    return not item.old_raw and not item.side and not item.day and bool(item.query_id)


def _settled(mended: Sequence[tuple[str, str]], now: Mapped, before: Mapped
             ) -> list[tuple[str, str]]:  # fmt: skip
    """Give the corrected cells but those that were corrected by a date, which is counted."""
    dated = set(now.dates.join(before.dates, on=now.dates.columns, how="anti", nulls_equal=True)
                .select("row_id", "variable").rows())  # fmt: skip
    return [cell for cell in mended if cell not in dated]


def _outcome(work: _Work, left: Sequence[Correction], corrections: Sequence[Correction],
             variables: dict[tuple[str, str], Variable]) -> Corrected:  # fmt: skip
    confirmed = frozenset(_confirmed_ids(work))
    again = {item.cell: place for place, item in enumerate(corrections)}
    places = {id(item): place for place, item in enumerate(corrections)}
    settled = [item for item in left if is_settled(work.now, item, variables)]
    old = [item for item in left
           if item not in settled and again[item.cell] == places[id(item)]]  # fmt: skip
    asked = stale_findings(work.now, [item for item in old if item.decision != CONFIRMED])
    open_ = asked.filter(~query_ids(asked).is_in(list(confirmed)))
    known_blank = _blank_ids(work)
    silenced = sum(item.decision == CONFIRMED for item, _ in work.kept)
    return Corrected(
        mapped=without_answered(work.now, work.mended, open_),
        confirmed=confirmed | known_blank, closed=frozenset(work.closed) | known_blank,
        applied=len(work.kept) - silenced, silenced=silenced, settled=len(settled),
        stale=len(old), trail=_trail(work),
    )  # fmt: skip


def _confirmed_ids(work: _Work) -> Iterable[str]:
    """Give the id of each confirmed question, under the name its row has by now.

    A numbered event may have another number than when it was asked about, so its question is
    found by its rule; where the line does not name it, by the id alone.
    """
    names: dict[str, Words] = {}
    for item, row_ids in work.kept:
        if item.decision != CONFIRMED:
            continue
        if not item.new or not row_ids:
            yield item.query_id
            continue
        if item.table not in names:
            names[item.table] = words_of(work.now.tables, item.table)
        rows = names[item.table].rows.filter(pl.col("row_id").is_in(row_ids))
        for key in rows["words"]:
            yield query_id(item.clinic, item.table, key, item.variable, item.new)


def _blank_ids(work: _Work) -> frozenset[str]:
    """Give the ids under which a cell that is known to be missing would be asked about."""
    ids: set[str] = set()
    for item, row_ids in work.kept:
        if item.decision != UNKNOWN or item.variable in KEEPS_ITS_ROW:
            continue
        named = words_of(work.now.tables, item.table).rows
        for key in named.filter(pl.col("row_id").is_in(row_ids))["words"]:
            ids |= {query_id(item.clinic, item.table, key, item.variable, rule)
                    for rule in ABOUT_BLANKS}  # fmt: skip
    return frozenset(ids)


def _trail(work: _Work) -> pl.DataFrame:
    rows = [
        (row_id, item.table, item.variable, item.decision, item.old_raw, item.new, item.query_id,
         item.reason, item.who, item.when)
        for item, row_ids in work.kept for row_id in row_ids
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=TRAIL_SCHEMA, orient="row")
