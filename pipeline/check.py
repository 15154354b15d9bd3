"""Mapped rows and rules -> accepted rows, what is held, and what the clinics are asked."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import polars as pl

from pipeline.checks.account import count_files, count_rows
from pipeline.checks.again import fold_again
from pipeline.checks.aside import merge_animals, merge_copies, set_aside_tests
from pipeline.checks.dates import date_texts, day_kinds
from pipeline.checks.derive import (
    add_reluxations,
    marks_of_added,
    marks_of_planned,
    raise_severity,
)
from pipeline.checks.evaluate import Hit
from pipeline.checks.holds import empty_held, holds_of_hits, holds_of_intake, holds_of_stopped
from pipeline.checks.judge import Known, judge, still_asked
from pipeline.checks.patterns import what_data_show
from pipeline.checks.rows import complete
from pipeline.checks.stop import stop_rows
from pipeline.checks.words import Headers
from pipeline.intake.mapped import ADDRESS, Mapped
from schemas.codebook import Variable, of_table
from schemas.rules.declared import declared_rules
from schemas.rules.every import AGAIN_RULES, CONFLICT_RULES, COPIES, MAIN_RULES, TEST_RULES
from schemas.rules.joined import join_tables
from schemas.rules.rule import Rule
from schemas.tables import gate, table_schema
from shared.side_by_side import both

STOPPED = ("clinic_id", "table", "row_id", "key", "rule")
ORDER = ("clinic_id", "file", "sheet", "row", "row_id", "variable", "rule")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Checked:
    """Accepted rows, and an account of every other row and of every doubt.

    Attributes
    ----------
    tables
        Per canonical table the accepted rows: address, variables (held values emptied) and
        ``derived``, true where the checks added the row or changed a value in it.
    stopped
        Rows that are not in the tables: clinic_id, table, row_id, key in words, rule.
    holds
        What is unknown until answered: clinic_id, local_stifle, target, rule.
    findings
        Everything seen, intake's findings included.
    missing, set_aside, ledger, marks
        As in ``Mapped``; test records are counted as set aside, added rows are marked too.
    ledger_rows
        Per clinic and table: made + derived = accepted + stopped + merged.
    """

    tables: Mapping[str, pl.DataFrame]
    stopped: pl.DataFrame
    holds: pl.DataFrame
    findings: pl.DataFrame
    missing: pl.DataFrame
    set_aside: pl.DataFrame
    ledger: pl.DataFrame
    ledger_rows: pl.DataFrame
    marks: pl.DataFrame


def check(
    mapped: Mapped, codebook: tuple[Variable, ...], *,
    confirmed: frozenset[str] = frozenset(), closed: frozenset[str] = frozenset(),
) -> Checked:  # fmt: skip
    """Check canonical rows by the codebook and the rules.

    Parameters
    ----------
    confirmed
        Ids of questions the clinics answered with "correct as it is": they are not asked again
        and hold nothing back.
    closed
        Ids of questions they answered with "cannot be found": not asked again, but what they stop
        or hold stays so.

    Raises
    ------
    AssertionError
        If a row has no fate or an accepted row breaks its schema: a defect of this program.
    """
    made = complete(mapped.tables, codebook)
    known = Known(
        headers=Headers(columns=mapped.columns, marks=mapped.marks), missing=mapped.missing,
        found=mapped.findings, confirmed=confirmed,
        variables={(item.table, item.name): item for item in codebook}, dates=date_texts(made),
        day_kinds=day_kinds(made["rechecks"], mapped),
    )  # fmt: skip
    single, first_hits, told_first, fates_first = _one_row_a_key(made, known)
    within, across = _main_rules(codebook)
    known = replace(known, found=pl.concat([mapped.findings, told_first]))
    joined = join_tables(single)
    hits, told = judge(within, single, known, joined=joined)
    placed, fates_stop = stop_rows(single, hits, mapped.findings)
    sure = raise_severity(empty_held(placed, hits), hits)
    joined = join_tables(sure, like=joined)
    more_hits, told_more = judge(across, sure, known, joined=joined)
    sure = empty_held(sure, more_hits)
    tables = add_reluxations(sure, join_tables(sure, like=joined))
    marks = marks_of_planned(mapped.marks, more_hits, known.day_kinds, sure["rechecks"])
    shown, accepted = both(
        lambda: what_data_show(tables, codebook, columns=mapped.columns),
        lambda: _through_the_gate(tables, codebook),
    )
    fates = pl.concat([fates_first, fates_stop])
    ledger, tests = count_files(mapped.ledger, made, fates)
    return Checked(
        tables=accepted,
        stopped=fates.filter(pl.col("fate") == "stopped").select(STOPPED).sort(STOPPED),
        holds=_of_accepted(
            [holds_of_hits(first_hits, made), holds_of_hits((*hits, *more_hits), single),
             holds_of_intake(mapped.findings, made),
             holds_of_stopped(fates, made, accepted["stifles"])],
            accepted["stifles"],
        ),
        findings=still_asked(
            pl.concat([mapped.findings, told_first, told, told_more, shown]), confirmed, closed
        ).sort(ORDER, nulls_last=False, maintain_order=True),
        missing=mapped.missing, set_aside=pl.concat([mapped.set_aside, tests]), ledger=ledger,
        ledger_rows=count_rows(made, accepted, fates),
        marks=marks_of_added(marks, accepted["complications"]),
    )  # fmt: skip


def _one_row_a_key(
    made: dict[str, pl.DataFrame], known: Known
) -> tuple[dict[str, pl.DataFrame], tuple[Hit, ...], pl.DataFrame, pl.DataFrame]:
    """Set tests aside, count copies once, make one row per animal and joint."""
    tests, told_tests = judge(TEST_RULES, made, known)
    tables, fates_tests = set_aside_tests(made, tests)
    copies, told_copies = judge(COPIES, tables, known)
    tables, fates_copies = merge_copies(tables, copies)
    again, told_again = judge((*CONFLICT_RULES, *AGAIN_RULES), tables, known)
    conflicts = [hit for hit in again if hit.rule.table == "animals"]
    tables, fates_animals = merge_animals(tables, conflicts)
    tables, fates_again = fold_again(tables, again)
    told = pl.concat([told_tests, told_copies, told_again])
    fates = pl.concat([fates_tests, fates_copies, fates_animals, fates_again])
    return tables, again, told, fates


def _main_rules(codebook: tuple[Variable, ...]) -> tuple[list[Rule], list[Rule]]:
    """Part the rules into those within a row and those across rows, which see what is left."""
    rules = (*declared_rules(codebook), *MAIN_RULES)
    within = [rule for rule in rules if isinstance(rule.broken, pl.Expr)]
    return within, [rule for rule in rules if not isinstance(rule.broken, pl.Expr)]


def _through_the_gate(tables: Mapping[str, pl.DataFrame], codebook: tuple[Variable, ...]
                      ) -> dict[str, pl.DataFrame]:  # fmt: skip
    accepted: dict[str, pl.DataFrame] = {}
    for name, frame in tables.items():
        variables = [item.name for item in of_table(codebook, name)]
        accepted[name] = frame.select(*ADDRESS, *variables, "derived")
        gate(accepted[name], table_schema(codebook, name, before=(*ADDRESS, "derived")))
    return accepted


def _of_accepted(holds: list[pl.DataFrame], stifles: pl.DataFrame) -> pl.DataFrame:
    key = ["clinic_id", "local_stifle"]
    every = pl.concat(holds)
    known = stifles.select(key).join(every, on=key, how="semi")
    listed = every.join(known, on=key, how="semi")
    return listed.unique().sort(listed.columns)
