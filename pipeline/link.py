"""One animal over clinics, one joint over operations: accepted tables get the study's own keys."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.checks.words import query_ids
from pipeline.intake.mapped import MARK_SCHEMA
from pipeline.link_findings import link_findings
from pipeline.near_matches import DAYS as NEAR_DAYS
from pipeline.near_matches import Decision, near_match_list, with_declared
from pipeline.sql import open_database, run_sql

# Days that are counted from the reporting clinic's own operation on the joint.
DAYS: Mapping[str, tuple[str, ...]] = {
    "rechecks": ("recheck_day",),
    "complications": ("detected_day", "last_negative_day", "resolved_day"),
    "revisions": ("revision_day",),
}
# What describes the index operation itself; other operations' rows are no part of it.
OF_THE_INDEX = ("procedures", "implants", "measurements")
HOLD = ("stifle_id", "target", "rule")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Linked:
    """Accepted rows under `animal_id` and `stifle_id`, days counted from the index operation.

    Attributes
    ----------
    tables
        As accepted, with stifle_id and animal_id; ``stifles`` has one row per joint, its index
        operation, and ``revisions`` one row per later operation, at whichever clinic. Rows with
        a day have window_days: the half width of a day that was planned, not measured.
    operations
        One row per operation known: stifle_id, animal_id, clinic_id (who reported it), kind
        (index, revision, earlier), day after the index operation.
    holds
        What is unknown until answered: stifle_id, target, rule.
    near_matches
        Pairs of rows that may be one animal (``LIST_SCHEMA``), for a person to decide; and what
        was decided.
    findings
        Questions and holds that linking raises.
    n_reported_twice
        Stifle rows that report an operation another clinic reported too.
    """

    tables: Mapping[str, pl.DataFrame]
    operations: pl.DataFrame
    holds: pl.DataFrame
    near_matches: pl.DataFrame
    findings: pl.DataFrame
    n_reported_twice: int


def link(
    tables: Mapping[str, pl.DataFrame],
    holds: pl.DataFrame,
    *,
    marks: pl.DataFrame | None = None,
    confirmed: frozenset[str] = frozenset(),
    closed: frozenset[str] = frozenset(),
    decisions: Sequence[Decision] = (),
) -> Linked:
    """Join animals over clinics and operations over joints.

    Parameters
    ----------
    tables
        The accepted canonical tables, by name.
    holds
        One row per held variable or outcome: clinic_id, local_stifle, target, rule.
    marks
        As in ``Mapped``; the nominal days among them have a window.
    confirmed
        Ids of questions the clinics answered with "correct as it is": they are not asked again,
        and an animal on which clinics differed is held no more once all of them did.
    closed
        Ids of questions answered with "cannot be found": not asked again, held as before.
    decisions
        What a person declared of two codes: only then are they one animal without a token.
    """
    marks = pl.DataFrame(schema=dict(MARK_SCHEMA)) if marks is None else marks
    declared = {**tables, "animals": with_declared(tables["animals"], decisions)}
    with open_database(declared) as connection:
        animal_ids = run_sql(connection, "animal_ids")
        run_sql(connection, "joint_rows")
        rows = run_sql(connection, "operations")
        followed = {
            name: _follow(_with_window(tables[name], name, marks), rows, days)
            for name, days in DAYS.items()
        }
        connection.register("followed_revisions", followed["revisions"])
        later = run_sql(connection, "later_operations")
        stifles = run_sql(connection, "index_stifles")
        near = run_sql(connection, "near_matches", {"days": NEAR_DAYS})
        contradictions = run_sql(connection, "contradictory_links")
    made = {
        "clinics": tables["clinics"],
        "animals": _ordered(tables["animals"].join(animal_ids, on=["clinic_id", "local_animal"])),
        "stifles": stifles,
        "revisions": later,
        **{name: followed[name] for name in ("rechecks", "complications")},
        **{name: _of_index(tables[name], rows) for name in OF_THE_INDEX},
    }
    found = link_findings(tables, rows, contradictions=contradictions)
    asked = found.filter(~_answered(found, confirmed))
    return Linked(
        tables=made,
        operations=_operations(rows, later),
        holds=pl.concat([_with_stifle(holds, rows), _own_holds(asked, rows)]).unique().sort(HOLD),
        near_matches=near_match_list(near, tables, decisions),
        findings=asked.filter(~query_ids(asked).is_in(sorted(closed))),
        n_reported_twice=rows.filter(pl.col("kind") == "reported_twice").height,
    )  # fmt: skip


def _with_window(table: pl.DataFrame, name: str, marks: pl.DataFrame) -> pl.DataFrame:
    """Put beside each row the half width of its day, where that is a planned one."""
    nominal = marks.filter(
        (pl.col("mark") == "nominal")
        & (pl.col("table") == name)
        & (pl.col("variable") == DAYS[name][0])
    )
    windows = nominal.select("row_id", "window_days").unique("row_id", keep="first")
    return table.join(windows, on="row_id", how="left", maintain_order="left")


def _follow(table: pl.DataFrame, rows: pl.DataFrame, days: tuple[str, ...]) -> pl.DataFrame:
    """Give a child table its stifle and count its days from the index operation.

    Rows of an operation whose day is not known cannot be dated and are left out (the joint's
    outcomes are held); so are rows before day 0, which belong to an earlier operation.
    """
    offset = rows.select("clinic_id", "local_stifle", "stifle_id", "animal_id", offset="day")
    joined = table.join(offset, on=["clinic_id", "local_stifle"], how="inner")
    counted = joined.with_columns(pl.col(day) + pl.col("offset") for day in days)
    first, *others = days
    placed = counted.filter(
        pl.col("offset").is_not_null(), pl.col(first).is_null() | (pl.col(first) >= 0)
    ).with_columns(pl.when(pl.col(day) >= 0).then(pl.col(day)).alias(day) for day in others)
    return _ordered(placed.drop("offset"))


def _of_index(table: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    index = rows.filter(pl.col("kind") == "index")
    keys = index.select("clinic_id", "local_stifle", "stifle_id", "animal_id")
    return _ordered(table.join(keys, on=["clinic_id", "local_stifle"], how="inner"))


def _ordered(table: pl.DataFrame) -> pl.DataFrame:
    first = [name for name in ("stifle_id", "animal_id") if name in table.columns]
    return table.select(*first, pl.exclude(first)).sort([*first, "row_id"])


def _operations(rows: pl.DataFrame, later: pl.DataFrame) -> pl.DataFrame:
    """List every operation once: index and earlier rows as sent, later ones as joined."""
    keys = ("stifle_id", "animal_id", "clinic_id", "kind", "day")
    revisions = later.select(
        "stifle_id", "animal_id", "clinic_id", kind=pl.lit("revision"), day="revision_day"
    )
    first = rows.filter(pl.col("kind").is_in(["index", "earlier"])).select(keys)
    return pl.concat([first, revisions]).sort("stifle_id", "day", "kind", "clinic_id")


def _with_stifle(holds: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    keys = rows.select("clinic_id", "local_stifle", "stifle_id")
    held = holds.join(keys, on=["clinic_id", "local_stifle"], how="inner")
    return held.select(pl.col(HOLD).cast(pl.String))


def _answered(found: pl.DataFrame, confirmed: frozenset[str]) -> pl.Series:
    """Say which questions a confirmation settles: not those about a day that stays unknown."""
    dated = (found["rule"] != "R70") | (found["action"] != "hold")
    return dated & query_ids(found).is_in(sorted(confirmed))


def _own_holds(asked: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """Hold joints with an operation that cannot be dated, and animals that clinics tell unlike."""
    undated = rows.filter(pl.col("day").is_null()).select("stifle_id", rule=pl.lit("R70"))
    open_ = asked.filter(pl.col("rule") == "R04").select("row_id")
    animals = rows.join(open_, on="row_id", how="semi").select("animal_id")
    told = rows.join(animals, on="animal_id", how="semi").select("stifle_id", rule=pl.lit("R04"))
    both = pl.concat([undated, told])
    return both.with_columns(target=pl.lit("outcome:all")).select(pl.col(HOLD).cast(pl.String))
