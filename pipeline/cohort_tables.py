"""Linked tables as the cohort wants them, and its answers put back beside the stifles.

A stifle goes by its place in the order of stifle ids (`stifle_no`): nothing is joined by text.
"""

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.by_number import at_rows, greatest, least, placed
from pipeline.intake.mapped import ADDRESS
from pipeline.linked import Below, Linked

OF_CLINICS = ("dates_shifted", "data_lock_date", "accrual_start", "accrual_end")


def numbered_joints(linked: Linked) -> pl.DataFrame:
    """Give what `sessions` asks of the joints, with their numbers."""
    stifles = linked.joints.select(
        "clinic_id", "animal_id", "side", "surgery_date", "lock_day",
        pl.coalesce("surgery_year", pl.col("surgery_date").dt.year().cast(pl.Int64)),
        linked.animals["animal_no"],
    )  # fmt: skip
    pairs = _pairs(stifles, linked.tables["animals"].height)
    clinics = _of_clinics(stifles["clinic_id"], linked.tables["clinics"])
    parts = (stifles.drop("clinic_id"), pairs, clinics)
    return pl.concat(parts, how="horizontal").with_row_index("stifle_no")


def _of_clinics(clinic_ids: pl.Series, clinics: pl.DataFrame) -> pl.DataFrame:
    """Give what is known of the clinic of each row."""
    rows = clinic_ids.cast(pl.Enum(clinics["clinic_id"]), strict=False).to_physical()
    return clinics.select(OF_CLINICS)[rows]


def _pairs(stifles: pl.DataFrame, n_animals: int) -> pl.DataFrame:
    """Give the first and last operation of each stifle's animal, if it has several joints."""
    animal = stifles["animal_no"]
    counts = pl.Series(np.bincount(animal.to_numpy(), minlength=n_animals))
    several = counts.gather(animal) > 1
    owners = animal.filter(several)
    made: dict[str, pl.Series] = {}
    for first, last, column in (("first_year", "last_year", "surgery_year"),
                                ("first_date", "last_date", "surgery_date")):  # fmt: skip
        values = stifles[column].filter(several)
        for name, extreme in ((first, least), (last, greatest)):
            found = extreme(owners, values.to_physical(), n_animals)
            made[name] = found.gather(animal.set(~several, None)).cast(pl.Int32).cast(values.dtype)
    return pl.DataFrame(made)


def variables(linked: Linked) -> pl.DataFrame:
    """Put the variables of its animal and its operation beside those of each joint."""
    stifles, animals = linked.joints, linked.tables["animals"].drop(*ADDRESS, "derived")
    operated = linked.below["procedures"]
    operations = operated.rows.drop(*ADDRESS, "derived")
    known = {"clinic_id", "local_animal", "local_stifle", "animal_id", "stifle_id"}
    animals = animals.drop("link_token", "joined", "death_cause", *known & {*animals.columns})
    operations = operations.drop(known & {*operations.columns})
    parts = (
        stifles.drop("surgery_year"),
        at_rows(animals, linked.animals["animal_row"]),
        placed(operations, operated.stifle_no, stifles.height),
        _death_causes(linked),
    )
    return pl.concat(parts, how="horizontal")


def _death_causes(linked: Linked) -> pl.DataFrame:
    """Give the cause of death of each joint's animal, told under any code; of several the least."""
    animals = linked.tables["animals"]
    told = animals.select("death_cause", linked.animal_nos).drop_nulls("death_cause")
    # By the alphabet, not by the order of codes.
    causes = told.group_by("animal_no").agg(pl.col("death_cause").cast(pl.String).min())
    causes = causes.cast({"death_cause": animals.schema["death_cause"]})
    known = placed(causes.drop("animal_no"), causes["animal_no"], animals.height)
    return known[linked.animals["animal_no"]]


def described(sessions: pl.DataFrame, known: pl.DataFrame) -> pl.DataFrame:
    """Put the session of each joint beside its variables.

    And last_known_day: the end of follow-up, not after the data lock.
    """
    known_day = pl.when(pl.col("end_of_followup_day").is_not_null()).then(
        pl.min_horizontal("end_of_followup_day", "admin_end_day")
    )
    return known.hstack(by_number(sessions, known.height)).with_columns(last_known_day=known_day)


def up_to_lock(
    below: Below, joints: pl.DataFrame, *, day: str, columns: Sequence[str]
) -> pl.DataFrame:
    """Give columns of the rows of joints up to the data lock of their index clinic, by number."""
    rows = below.rows.select(columns).with_columns(stifle_no=below.stifle_no.cast(pl.Int64))
    rows = rows.filter(pl.col("stifle_no").is_not_null())
    lock = joints["admin_end_day"].gather(rows["stifle_no"])
    return rows.filter((rows[day] <= lock).fill_null(value=True))


def implants_at_lock(below: Below, joints: pl.DataFrame) -> pl.DataFrame:
    """Give the implants as at the data lock: what was taken out later was still in."""
    rows = below.rows.select(
        "implant_type", "implant_no", "implant_removed_day", "implant_removal_reason",
        stifle_no=below.stifle_no.cast(pl.Int64),
    ).filter(pl.col("stifle_no").is_not_null())  # fmt: skip
    asked = joints.select(
        "admin_end_day", "ttt_fixation", "femoral_osteotomy", "cruciate_procedure"
    )
    rows = rows.hstack(asked[rows["stifle_no"]])
    seen = (pl.col("implant_removed_day") <= pl.col("admin_end_day")).fill_null(value=True)
    return rows.with_columns(
        pl.when(seen).then(name).alias(name)
        for name in ("implant_removed_day", "implant_removal_reason")
    )


def by_number(frame: pl.DataFrame, n_stifles: int) -> pl.DataFrame:
    """Give a row per stifle, in their order, of a frame that may lack some; without the number."""
    return placed(frame.drop("stifle_no"), frame["stifle_no"], n_stifles)


def named_events(events: pl.DataFrame, joints: pl.DataFrame) -> pl.DataFrame:
    """Put the names of stifle, animal and index clinic before each event."""
    keys = ("stifle_id", "animal_id", "clinic_id")
    named = at_rows(joints.select(keys), events["stifle_no"])
    return named.hstack(events.drop("stifle_no"))
