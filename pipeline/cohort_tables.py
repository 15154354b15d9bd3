"""Linked tables as the cohort's database wants them, and its answers put back beside the stifles.

A stifle goes by its place in the order of stifle ids (`stifle_no`): nothing is joined by text.
"""

import numpy as np
import polars as pl
import polars.selectors as cs

from pipeline.intake.mapped import ADDRESS
from pipeline.linked import Linked


def numbered_tables(linked: Linked) -> dict[str, pl.DataFrame]:
    """Put numbers of stifles and animals beside the rows of those tables."""
    stifles = linked.tables["stifles"].hstack(linked.animals).with_row_index("stifle_no")
    owners = linked.tables["animals"].with_columns(linked.animal_nos)
    return {"clinics": linked.tables["clinics"], "stifles": stifles, "animals": owners}


def with_joint(linked: Linked, joints: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Put the number of its joint, and what is asked of it, beside each row of the tables below.

    Rows that are no part of the linked tables stay in place, their joint blank.
    """
    asked = joints.select("admin_end_day", "luxation_direction")
    return {
        name: part.rows.with_columns(
            asked.select(pl.all().gather(part.stifle_no)), stifle_no=part.stifle_no
        )
        for name, part in linked.below.items()
    }


def described(sessions: pl.DataFrame, linked: Linked) -> pl.DataFrame:
    """Put every variable of the joint, its animal and its operation beside its session."""
    stifles, animals = (
        linked.tables[name].drop(*ADDRESS, "derived") for name in ("stifles", "animals")
    )
    operated = linked.below["procedures"]
    operations = operated.rows.drop(*ADDRESS, "derived")
    known = {"clinic_id", "local_animal", "local_stifle", "animal_id", "stifle_id"}
    animals = animals.drop("link_token", "joined", "death_cause", *known & {*animals.columns})
    operations = operations.drop(known & {*operations.columns})
    procedure = _places(operated.stifle_no, stifles.height)
    parts = (
        stifles.select("stifle_id"),
        sessions,
        stifles.drop("stifle_id", "surgery_year"),
        animals.select(pl.all().gather(linked.animals["animal_row"])),
        operations.select(pl.all().gather(procedure)),
    )
    return pl.concat(parts, how="horizontal")


def by_number(frame: pl.DataFrame, n_stifles: int) -> pl.DataFrame:
    """Give a row per stifle, in their order, of a frame that may lack some; without the number."""
    number = frame["stifle_no"]
    values = frame.drop("stifle_no")
    if frame.height == n_stifles:
        assert (number == pl.int_range(n_stifles, eager=True)).all()
        return values.with_columns(cs.categorical().cast(pl.String))
    placed = values.select(pl.all().gather(_places(number, n_stifles)))
    return placed.with_columns(cs.categorical().cast(pl.String))


def named_events(events: pl.DataFrame, joints: pl.DataFrame) -> pl.DataFrame:
    """Put the names of stifle, animal and index clinic before each event."""
    keys = ("stifle_id", "animal_id", "clinic_id")
    named = joints.select(pl.col(keys).gather(events["stifle_no"]))
    return named.hstack(events.drop("stifle_no"))


def _places(numbers: pl.Series, n_stifles: int) -> pl.Series:
    """Give, for each stifle, the row of its number; null where there is none."""
    places = np.full(n_stifles, -1, dtype=np.int64)
    known = numbers.is_not_null().arg_true()
    places[numbers.gather(known).to_numpy()] = known.to_numpy()
    found = pl.Series(places)
    return found.set(found < 0, None)
