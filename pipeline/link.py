"""One animal over clinics, one joint over operations: accepted tables get the study's own keys."""

from collections.abc import Mapping, Sequence

import duckdb
import polars as pl

from pipeline.alike import alike
from pipeline.by_number import at_rows
from pipeline.checks.words import query_ids
from pipeline.intake.mapped import ADDRESS, MARK_SCHEMA
from pipeline.link_animals import number_animals
from pipeline.link_below import DAYS, OF_THE_INDEX, follow, later, of_index, with_window
from pipeline.link_findings import answered, link_findings, told
from pipeline.link_holds import link_holds
from pipeline.link_keys import StifleRows, animals_of
from pipeline.link_rows import KINDS, Rows, joint_rows, number_rows
from pipeline.linked import Below, Linked, LinkedTables
from pipeline.near_matches import DAYS as NEAR_DAYS
from pipeline.near_matches import Decision, near_match_list, with_declared
from pipeline.sql import ask, fetch, make_table, open_database, show
from shared.side_by_side import both

OF_THE_ROW = (*ADDRESS, "derived")
BELOW = (*DAYS, *OF_THE_INDEX)
LAST = ("end_of_followup_day", "end_status")


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
    stifles, owners = tables["stifles"], with_declared(tables["animals"], decisions)
    animals, owned = both(lambda: number_animals(owners), lambda: animals_of(stifles, owners))
    joints = joint_rows(stifles, animals, owned)
    near, (rows, known, below, contradictions, of_holds) = both(
        lambda: alike(stifles, owners, tables["clinics"], joints=joints, days=NEAR_DAYS),
        lambda: _followed(tables, holds, animals, joints, marks),
    )
    told_rows = told(rows, stifles, contradictions)
    found = link_findings(told_rows, contradictions)
    asked = found.filter(~answered(found, confirmed))
    own = {
        "clinics": tables["clinics"],
        "animals": tables["animals"].select(animals["animal_id"], pl.all(), animals["joined"]),
        "stifles": lambda: _stifles(known, rows, stifles),
    }
    return Linked(
        tables=LinkedTables(own, below), joints=known, below=below,
        operations=_operations(rows, known, below["revisions"], stifles["clinic_id"]),
        holds=link_holds(holds, asked, rows, stifle_rows=of_holds, told=told_rows),
        near_matches=near_match_list(near, decisions),
        findings=asked.filter(~query_ids(asked).is_in(sorted(closed))) if closed else asked,
        n_reported_twice=int((rows.frame["kind"] == "reported_twice").sum()),
        animals=rows.index.select("animal_row", "animal_no"), animal_nos=animals["animal_no"],
        sent=rows.frame.select("stifle_no", "kind", "day"),
    )  # fmt: skip


def _followed(
    tables: Mapping[str, pl.DataFrame], holds: pl.DataFrame, animals: pl.DataFrame,
    joints: pl.DataFrame, marks: pl.DataFrame,
) -> tuple[Rows, pl.DataFrame, dict[str, Below], pl.DataFrame, pl.Series]:  # fmt: skip
    """Say what each row of stifles is for its joint, and follow the rows below to their joints.

    Returns
    -------
    tuple
        The rows under numbers; what is known of each joint; the tables below the stifles; the
        table `contradictory_links` of SQL; for each hold its row of stifles.
    """
    stifles = tables["stifles"]
    known_rows = StifleRows(stifles)
    operated = known_rows.of(tables["procedures"])
    others = {name: tables[name] for name in BELOW if name != "procedures"} | {"holds": holds}
    with open_database({"clinics": tables["clinics"]}) as connection:
        rows, places = both(
            lambda: _numbered(connection, tables, animals, joints, operated),
            lambda: {name: known_rows.of(table) for name, table in others.items()},
        )
        places["procedures"] = operated
        ends = fetch(connection, "later_ends")
        known, (below, contradictions) = both(
            lambda: _joints(stifles, rows, ends),
            lambda: (
                _below(connection, tables, rows, places, marks),
                ask(connection, "contradictory_links"),
            ),
        )
    return rows, known, below, contradictions, places["holds"]


def _numbered(
    connection: duckdb.DuckDBPyConnection, tables: Mapping[str, pl.DataFrame],
    animals: pl.DataFrame, joints: pl.DataFrame, operated: pl.Series,
) -> Rows:  # fmt: skip
    """Say what each row of stifles is for its joint; `operated` as in `_compared`."""
    for name, frame in _compared(tables, animals, joints, operated).items():
        show(connection, name, frame)
    for name in ("repeated_joints", "operations", "later_ends"):
        make_table(connection, name)
    return number_rows(joints, fetch(connection, "operations"), tables, animals=animals)


def _below(
    connection: duckdb.DuckDBPyConnection, tables: Mapping[str, pl.DataFrame], rows: Rows,
    places: Mapping[str, pl.Series], marks: pl.DataFrame,
) -> dict[str, Below]:  # fmt: skip
    """Give the tables below the stifles by number, with later operations of whichever clinic."""
    below = {
        name: follow(with_window(tables[name], name, marks), rows, places[name], days=days)
        for name, days in DAYS.items()
    } | {name: of_index(tables[name], rows, places[name]) for name in OF_THE_INDEX}
    show(connection, "followed_revisions", rows.by_index_row(below["revisions"]))
    below["revisions"] = later(
        ask(connection, "later_operations"), rows,
        reasons=tables["revisions"].schema["revision_reason"],
    )  # fmt: skip
    return below


def _compared(
    tables: Mapping[str, pl.DataFrame], animals: pl.DataFrame, joints: pl.DataFrame,
    operated: pl.Series,
) -> dict[str, pl.DataFrame]:  # fmt: skip
    """Give the few rows that are compared: joints sent more than once, animals of several codes.

    Parameters
    ----------
    operated
        For each row of procedures its row of stifles.
    """
    joined, several = animals["joined"], joints["several"]
    stifles = tables["stifles"].with_columns(
        joints["animal_no", "joint_no"], stifle_row=pl.row_index()
    )
    procedures = tables["procedures"].with_columns(stifle_row=operated)
    owners = tables["animals"].with_columns(animals["animal_no"])
    return {
        "several_stifles": stifles[several.arg_true()],
        "several_procedures": procedures[several.gather(operated).arg_true()],
        "joined_animals": owners[joined.arg_true()],
        "joined_stifles": stifles[joined.gather(joints["animal_row"]).arg_true()],
    }


def _joints(stifles: pl.DataFrame, rows: Rows, ends: pl.DataFrame) -> pl.DataFrame:
    """Give the index operation of each joint, with the last that any clinic knows of it."""
    index_rows = rows.index["index_row"]
    # What is known of the end of a joint of several operations is looked up below all stifles.
    ends = ends.with_columns(pl.col("end_status").cast(stifles.schema["end_status"]))
    known = pl.concat([stifles.select(LAST), ends.select(LAST)])
    places = index_rows.clone().scatter(  # which changes the column it is called on
        rows.frame["stifle_no"].gather(ends["index_row"]),
        pl.int_range(stifles.height, known.height, eager=True),
    )
    return rows.index.select("stifle_id", "animal_id").hstack(
        at_rows(stifles.drop(*OF_THE_ROW, *LAST), index_rows)
    ).hstack(at_rows(known, places))  # fmt: skip


def _stifles(joints: pl.DataFrame, rows: Rows, stifles: pl.DataFrame) -> pl.DataFrame:
    """Put the address of its index operation beside each joint, in the order as accepted."""
    address = at_rows(stifles.select(OF_THE_ROW), rows.index["index_row"])
    own = stifles.drop(LAST).columns
    return joints.hstack(address).select("stifle_id", "animal_id", *own, *LAST)


def _operations(
    rows: Rows, index: pl.DataFrame, revisions: Below, clinics: pl.Series
) -> pl.DataFrame:
    """List every operation once: earlier and index ones as sent, later ones as joined.

    Parameters
    ----------
    index
        What is known of each joint.
    clinics
        The clinic of each accepted row of stifles.
    """
    earlier = rows.frame.with_columns(clinics).filter(pl.col("kind") == "earlier")
    first = index.select("clinic_id", stifle_no=pl.row_index(), day=pl.lit(0, pl.Int64))
    later = revisions.rows.select("clinic_id", revisions.stifle_no, day="revision_day")
    parts = (earlier.sort("stifle_no", "day", "clinic_id"), first, later)
    return pl.concat([
        part.select("stifle_no", "clinic_id", pl.lit(kind, KINDS).alias("kind"), "day")
        for part, kind in zip(parts, ("earlier", "index", "revision"), strict=True)
    ])  # fmt: skip
