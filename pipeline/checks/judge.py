"""Judge rows by rules and put what is broken in words, but for what the clinic has confirmed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.checks.blanks import sort_blanks
from pipeline.checks.evaluate import Hit, find_broken
from pipeline.checks.words import Headers, Variables, describe, query_ids
from schemas.findings import findings
from schemas.rules.joined import Joined, join_tables
from schemas.rules.rule import Frames, Rule

# A confirmation cannot make a value possible, give a row its place, or two rows one key.
NOT_CONFIRMABLE = frozenset({"C01", "C02", "C06", "R02"})
STRENGTH = {"ask": 0, "derive": 1, "hold": 2, "stop": 3, "set_aside": 3}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """What judging needs to know besides the tables.

    `dates` are the date texts of all rows, also of those whose dates were not understood: a file
    with two orders of day and month is known by them. `day_kinds` says how the day of each recheck
    is known.
    """

    headers: Headers
    variables: Variables
    missing: pl.DataFrame
    found: pl.DataFrame
    confirmed: frozenset[str]
    dates: pl.DataFrame
    day_kinds: pl.DataFrame


def judge(
    rules: Iterable[Rule], tables: Frames, known: Known, *, joined: Joined | None = None
) -> tuple[tuple[Hit, ...], pl.DataFrame]:
    """Give the rules that are broken, by which rows, and the findings in words.

    Parameters
    ----------
    joined
        The tables joined, where they are joined already.
    """
    frames = (join_tables(tables) if joined is None else joined) | {
        "date_texts": known.dates,
        "day_kinds": known.day_kinds,
    }
    broken = find_broken(rules, frames)
    hits = sort_blanks(broken, tables=tables, missing=known.missing, found=known.found)
    kept: list[Hit] = []
    told: list[pl.DataFrame] = [findings()]
    for hit in one_question_a_cell(hits):
        found = describe(
            [hit], tables=tables, frames=frames, headers=known.headers, variables=known.variables
        )
        hit_left, found_left = _unconfirmed(hit, found, tables, known.confirmed)
        kept.append(hit_left)
        told.append(found_left)
    return tuple(hit for hit in kept if hit.rows.height), pl.concat(told)


def one_question_a_cell(hits: Sequence[Hit]) -> tuple[Hit, ...]:
    """Leave out a codebook check where a rule asks about the same cell at least as strongly."""
    asked: dict[tuple[str, str], list[Hit]] = {}
    for hit in hits:
        if not hit.rule.id.startswith("C"):
            asked.setdefault(_cell(hit), []).append(hit)
    left: list[Hit] = []
    for hit in hits:
        rows = hit.rows
        if hit.rule.id.startswith("C"):
            strength = STRENGTH[hit.rule.action]
            for other in asked.get(_cell(hit), ()):
                if STRENGTH[other.rule.action] >= strength:
                    rows = rows.join(other.rows, on="row_id", how="anti", maintain_order="left")
        if rows.height:
            left.append(Hit(rule=hit.rule, rows=rows))
    return tuple(left)


def _cell(hit: Hit) -> tuple[str, str]:
    return hit.rule.table, hit.rule.shows[0]


def _unconfirmed(hit: Hit, found: pl.DataFrame, tables: Frames, confirmed: frozenset[str]
                 ) -> tuple[Hit, pl.DataFrame]:  # fmt: skip
    """Take out what the clinic confirmed: the question, and with it what it held back."""
    rule = hit.rule
    if not confirmed or rule.id in NOT_CONFIRMABLE or rule.action == "stop":
        return hit, found
    answered = query_ids(found).is_in(list(confirmed))
    if not answered.any():
        return hit, found
    asked = found.filter(~answered)
    # What was confirmed is the cell the derived value rests on, or that a record is a test.
    if rule.action in {"derive", "set_aside"}:
        return hit, asked
    place = tables[rule.table].select("row_id", "clinic_id", "file", "sheet")
    by = {"file": ["clinic_id", "file", "sheet"], "clinic": ["clinic_id"]}.get(
        rule.once, ["row_id"]
    )
    silent = place.join(found.filter(answered), on=by, how="semi")
    rows = hit.rows.join(silent, on="row_id", how="anti", maintain_order="left")
    return Hit(rule=rule, rows=rows), asked


def still_asked(found: pl.DataFrame, confirmed: frozenset[str], closed: frozenset[str]
                ) -> pl.DataFrame:  # fmt: skip
    """Leave out what needs no further answer, also of the questions that intake asks.

    A confirmation settles what intake asks or fills in, but gives no text a meaning.
    """
    if not (confirmed or closed):
        return found
    ids = query_ids(found)
    settled = ~pl.col("action").is_in(["stop", "hold"]) & pl.lit(ids.is_in(list(confirmed)))
    return found.filter(~settled, ~ids.is_in(list(closed)))
