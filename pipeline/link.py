"""One animal over clinics, one joint over operations: accepted tables get the study's own keys."""

from collections.abc import Mapping, Sequence

import polars as pl

from pipeline.checks.words import query_ids
from pipeline.intake.mapped import MARK_SCHEMA
from pipeline.link_findings import link_findings
from pipeline.link_rows import Rows, child_rows, follow, number_rows, numbered, of_index
from pipeline.linked import Below, Linked, LinkedTables
from pipeline.near_matches import DAYS as NEAR_DAYS
from pipeline.near_matches import Decision, near_match_list, with_declared
from pipeline.sql import fetch, make_table, open_database, run_sql, show

# Days that are counted from the reporting clinic's own operation on the joint.
DAYS: Mapping[str, tuple[str, ...]] = {
    "rechecks": ("recheck_day",),
    "complications": ("detected_day", "last_negative_day", "resolved_day"),
    "revisions": ("revision_day",),
}
# What describes the index operation itself; other operations' rows are no part of it.
OF_THE_INDEX = ("procedures", "implants", "measurements")
HOLD = ("stifle_id", "target", "rule")


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
    with open_database(numbered(declared)) as connection:
        for name in ("animal_ids", "joint_rows", "repeated_joints", "operations", "later_ends"):
            make_table(connection, name)
        rows = number_rows(connection, tables)
        places = child_rows(connection, {name: tables[name] for name in (*DAYS, *OF_THE_INDEX)})
        below = {
            name: follow(_with_window(tables[name], name, marks), rows, places[name], days=days)
            for name, days in DAYS.items()
        }
        show(connection, "followed_revisions", rows.by_index_row(below["revisions"]))
        below["revisions"] = _later(run_sql(connection, "later_operations"), rows)
        near = run_sql(connection, "near_matches", {"days": NEAR_DAYS})
        contradictions = run_sql(connection, "contradictory_links")
        below |= {name: of_index(tables[name], rows, places[name]) for name in OF_THE_INDEX}
        stifles = _stifles(tables["stifles"], rows, fetch(connection, "later_ends"))
    found = link_findings(_told(rows, tables["stifles"], contradictions), contradictions)
    asked = found.filter(~_answered(found, confirmed))
    own = {"clinics": tables["clinics"], "animals": rows.named_animals(tables["animals"]),
           "stifles": stifles}  # fmt: skip
    return Linked(
        tables=LinkedTables(own, below),
        below=below,
        operations=_operations(rows, below["revisions"], tables["stifles"]),
        holds=pl.concat([_with_stifle(holds, rows, tables["stifles"]),
                         _own_holds(asked, rows, tables["stifles"])]).unique().sort(HOLD),
        near_matches=near_match_list(near, tables, decisions),
        findings=asked.filter(~query_ids(asked).is_in(sorted(closed))) if closed else asked,
        n_reported_twice=rows.frame.filter(pl.col("kind") == "reported_twice").height,
        animals=rows.index.select("animal_row", "animal_no"),
        animal_nos=rows.animal_ids["animal_no"],
        sent=rows.frame.select(
            "stifle_row", rows.names(rows.frame["stifle_no"])[0], "kind", "day"
        ),
    )  # fmt: skip


def _with_window(table: pl.DataFrame, name: str, marks: pl.DataFrame) -> pl.DataFrame:
    """Put beside each row the half width of its day, where that is a planned one."""
    nominal = marks.filter(
        (pl.col("mark") == "nominal")
        & (pl.col("table") == name)
        & (pl.col("variable") == DAYS[name][0])
    )
    windows = nominal.select("row_id", "window_days").unique("row_id", keep="first")
    if windows.is_empty():
        return table.with_columns(window_days=pl.lit(None, pl.Int64))
    return table.join(windows, on="row_id", how="left", maintain_order="left")


def _stifles(stifles: pl.DataFrame, rows: Rows, ends: pl.DataFrame) -> pl.DataFrame:
    """Give the index operation of each joint, with the last that any clinic knows of it."""
    last = ("end_of_followup_day", "end_status")
    index = rows.index.select("index_row").join(
        ends.with_columns(several=pl.lit(value=True)), on="index_row", how="left",
        maintain_order="left",
    )  # fmt: skip
    own = stifles.select(pl.all().gather(index["index_row"]))
    known = [
        pl.when(index["several"].fill_null(value=False))
        .then(index[name])
        .otherwise(name)
        .alias(name)
        for name in last
    ]
    return own.select(
        rows.index["stifle_id"], rows.index["animal_id"], pl.exclude(last), *known
    )  # fmt: skip


def _later(later: pl.DataFrame, rows: Rows) -> Below:
    """Give the joint of each later operation, in their order."""
    placed = later.select(
        "revision_day", "clinic_id", "revision_reason", "row_id", "derived", "window_days",
        stifle_no=rows.stifle_of(later["index_row"]),
    ).sort("stifle_no", "revision_day", nulls_last=True)  # fmt: skip
    return Below(rows=placed.drop("stifle_no"), stifle_no=placed["stifle_no"])


def _operations(rows: Rows, revisions: Below, stifles: pl.DataFrame) -> pl.DataFrame:
    """List every operation once: index and earlier rows as sent, later ones as joined."""
    first = rows.frame.filter(pl.col("kind").is_in(["index", "earlier"]))
    clinics = sorted(stifles["clinic_id"].unique())
    listed = pl.concat([
        first.select("stifle_no", stifles["clinic_id"].gather(first["stifle_row"]), "kind", "day"),
        revisions.rows.select(
            revisions.stifle_no, "clinic_id", kind=pl.lit("revision"), day="revision_day"
        ),
    ]).sort("stifle_no", "day", pl.col("kind").cast(pl.Enum(["earlier", "index", "revision"])),
            pl.col("clinic_id").cast(pl.Enum(clinics)))  # fmt: skip
    return listed.select(*rows.names(listed["stifle_no"]), "clinic_id", "kind", "day")


def _told(rows: Rows, stifles: pl.DataFrame, contradictions: pl.DataFrame) -> pl.DataFrame:
    """Give the rows that linking may ask about, as their clinics know them."""
    asked = rows.frame.filter(
        pl.col("kind").is_in(["revision", "reported_twice"])
        | pl.col("animal_no").is_in(contradictions["animal_no"].unique().implode())
    )
    return asked.hstack(stifles[asked["stifle_row"]].drop("derived")).sort("row_id")


def _with_stifle(holds: pl.DataFrame, rows: Rows, stifles: pl.DataFrame) -> pl.DataFrame:
    keys = stifles.select("clinic_id", "local_stifle").with_row_index("stifle_row")
    held = holds.join(keys, on=["clinic_id", "local_stifle"], how="inner")
    joint = rows.stifle_of(held["stifle_row"])
    named = held.with_columns(stifle_id=rows.names(joint)[0])
    return named.filter(joint.is_not_null()).select(pl.col(HOLD).cast(pl.String))


def _answered(found: pl.DataFrame, confirmed: frozenset[str]) -> pl.Series:
    """Say which questions a confirmation settles: not those about a day that stays unknown."""
    if not confirmed:
        return pl.repeat(value=False, n=found.height, dtype=pl.Boolean, eager=True)
    dated = (found["rule"] != "R70") | (found["action"] != "hold")
    return dated & query_ids(found).is_in(sorted(confirmed))


def _own_holds(asked: pl.DataFrame, rows: Rows, stifles: pl.DataFrame) -> pl.DataFrame:
    """Hold joints with an operation that cannot be dated, and animals that clinics tell unlike."""
    undated = rows.frame.filter(pl.col("day").is_null())["stifle_no"]
    open_ = asked.filter(pl.col("rule") == "R04")["row_id"]
    places = stifles.select(pl.col("row_id").is_in(open_.implode()).arg_true()).to_series()
    animals = rows.at(places, "animal_no").to_series().unique()
    told = rows.frame.filter(pl.col("animal_no").is_in(animals.implode()))["stifle_no"]
    both = [
        pl.DataFrame({"stifle_id": rows.names(joints)[0]}).with_columns(
            target=pl.lit("outcome:all"), rule=pl.lit(rule)
        )
        for rule, joints in (("R70", undated), ("R04", told))
    ]
    return pl.concat(both).select(pl.col(HOLD).cast(pl.String))
