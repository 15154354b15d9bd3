"""Rules on the two knees of one animal, and on animals that may be one."""

import polars as pl

from schemas.rules.joined import made_once, select_columns
from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.repeated import repeated
from schemas.rules.rule import Frames, Rule
from schemas.rules.told_once import DEAD

ANIMAL = ["clinic_id", "local_animal"]
SAME_OPERATION = ["animals.species", "animals.breed", "animals.sex_neuter", "side", "surgery_date"]
CLOSE_DAYS = (1, 20)
DAYS_PER_MONTH = 30.4375


def _beside_other_side(frames: Frames) -> pl.DataFrame:
    return made_once(frames, "beside other side", _pairs)


def _pairs(frames: Frames) -> pl.DataFrame:
    """Give each operated joint beside the other joint of its animal, as ``other.<column>``."""
    stifles = repeated(select_columns(frames, "stifles", [
        "row_id", *ANIMAL, "side", "surgery_date", "age_months", "weight_kg", "end_status",
        "end_of_followup_day", "session_type_reported",
    ]), ANIMAL)  # fmt: skip
    other = stifles.select(*ANIMAL, pl.all().exclude(ANIMAL).name.prefix("other."))
    pairs = stifles.join(other, on=ANIMAL, how="inner", maintain_order="left_right")
    return pairs.filter(pl.col("side") != pl.col("other.side")).with_columns(
        days_between=(pl.col("other.surgery_date") - pl.col("surgery_date")).dt.total_days()
    )


def _same_day_not_said(frames: Frames) -> pl.DataFrame:
    """Give joints whose reported session disagrees with whether both were operated that day."""
    pairs = _beside_other_side(frames)
    same_day = pairs.filter(pl.col("days_between") == 0)
    reported = pl.col("session_type_reported")
    missed = same_day.filter(reported != "bilateral_same_session")
    stifles = select_columns(frames, "stifles", ["row_id", "session_type_reported"])
    alone = stifles.filter(reported == "bilateral_same_session").join(
        same_day, on="row_id", how="anti", maintain_order="left"
    )  # fmt: skip
    return pl.concat([missed.select("row_id"), alone.select("row_id")])


def _staged_alone(frames: Frames) -> pl.DataFrame:
    stifles = select_columns(frames, "stifles", ["row_id", "session_type_reported"])
    staged = stifles.filter(pl.col("session_type_reported") == "bilateral_staged")
    other_day = _beside_other_side(frames).filter(pl.col("days_between") != 0)
    return staged.join(other_day, on="row_id", how="anti", maintain_order="left")


def _close_together(frames: Frames) -> pl.DataFrame:
    return _beside_other_side(frames).filter(pl.col("days_between").abs().is_between(*CLOSE_DAYS))


def _unlike_on_one_day(frames: Frames) -> pl.DataFrame:
    unlike = (pl.col("weight_kg") != pl.col("other.weight_kg")) | (
        pl.col("age_months") != pl.col("other.age_months")
    )
    return _beside_other_side(frames).filter((pl.col("days_between") == 0) & unlike)


def _ages_against_days(frames: Frames) -> pl.DataFrame:
    """Give joints operated on two days whose ages do not fit the days between, within a month.

    Ages that are whole years on both days fit within a year.
    """
    ages = [pl.col("age_months"), pl.col("other.age_months")]
    whole_years = (ages[0] % 12 == 0) & (ages[1] % 12 == 0)
    apart = (ages[1] - ages[0] - pl.col("days_between") / DAYS_PER_MONTH).abs()
    return _beside_other_side(frames).filter(
        pl.col("days_between") != 0, apart > pl.when(whole_years).then(12).otherwise(1)
    )


def _dies_twice(frames: Frames) -> pl.DataFrame:
    """Give both joints of an animal that died, where they do not end on its last day."""
    pairs = _beside_other_side(frames).filter(
        pl.col("end_status").is_in(DEAD) | pl.col("other.end_status").is_in(DEAD)
    )
    gap = pl.col("end_of_followup_day") - pl.col("other.end_of_followup_day")
    return pairs.filter(gap != pl.col("days_between"))


def _twins(frames: Frames) -> pl.DataFrame:
    """Give operations of two animal codes that look like one operation."""
    stifles = select_columns(frames, "stifles", [
        "row_id", *ANIMAL, *SAME_OPERATION, "weight_kg", "age_months", "animals.link_token",
    ])  # fmt: skip
    # One of the two has no link token, else the tokens tell.
    unlinked_ones = stifles.filter(pl.col("animals.link_token").is_null())
    if unlinked_ones.is_empty():
        return unlinked_ones
    stifles = stifles.join(unlinked_ones, on=SAME_OPERATION, how="semi", maintain_order="left")
    other = stifles.select(*SAME_OPERATION, pl.all().exclude(SAME_OPERATION).name.prefix("other."))
    pairs = stifles.join(other, on=SAME_OPERATION, how="inner", maintain_order="left_right")
    two_codes = (pl.col("clinic_id") != pl.col("other.clinic_id")) | (
        pl.col("local_animal") != pl.col("other.local_animal")
    )
    unlinked = pl.col("animals.link_token").is_null() | pl.col("other.animals.link_token").is_null()
    weight = (pl.col("weight_kg") / pl.col("other.weight_kg")).is_between(1 / 1.05, 1.05)
    age = (pl.col("age_months") - pl.col("other.age_months")).abs() <= 1
    return pairs.filter(two_codes & unlinked & weight & age)


PAIR_RULES = (
    Rule(
        id="R06", action="ask", tables=("stifles", "animals"), broken=_twins,
        shows=("surgery_date", "side", "weight_kg", "animals.breed"),
        says="Another row of the network, under another animal code, has the same breed, sex, "
        "side and day of surgery, and nearly the same age and weight.",
        fix="Say whether this animal stands in the export twice, or was sent by two clinics.",
        why="Exports drawn twice, or by two clinics of one network, repeat rows", source=PRACTICE,
    ),
    Rule(
        id="R09", action="ask", tables=("stifles",), broken=_same_day_not_said,
        shows=("session_type_reported", "surgery_date"),
        says="The session that is recorded does not fit the days of surgery of the two knees.",
        fix="Check the days of surgery of both knees.",
        why="Same-session pairs share animal and day and are not independent", source=LOGIC,
    ),
    Rule(
        id="R10", action="ask", tables=("stifles",), broken=_staged_alone,
        shows=("session_type_reported", "surgery_date"),
        says="Recorded as staged, but no operation of the other knee on another day was sent.",
        fix="Send the row of the other knee, or say that it lies outside the period.",
        why="Staged pairs must be recognised for clustering", source=LOGIC,
    ),
    Rule(
        id="R11", action="ask", tables=("stifles",), broken=_close_together,
        shows=("surgery_date",),
        says="The other knee was operated within 20 days of this one.",
        fix="Check whether it was one session with a mistyped date.",
        why="Staged surgery is seldom that close", source=PRACTICE,
    ),
    Rule(
        id="R12", action="ask", tables=("stifles",), broken=_unlike_on_one_day,
        shows=("weight_kg", "age_months"),
        says="Both knees were operated on one day, with different age or weight.",
        fix="Give the age and weight of that day.", why="One of the values was mistyped",
        source=LOGIC,
    ),
    Rule(
        id="R12", action="ask", tables=("stifles",), broken=_ages_against_days,
        shows=("age_months", "surgery_date"),
        says="The ages at the operations of the two knees do not fit the days between them.",
        fix="Check the age and the day of surgery of both knees.",
        why="One of the values was mistyped", source=LOGIC,
    ),
    Rule(
        id="R18", action="hold", tables=("stifles", "animals"), broken=_dies_twice,
        shows=("end_of_followup_day", "end_status", "surgery_date"),
        says="The animal died, and the last days known of its two knees are not the same day.",
        fix="Give the day of death; it ends the follow-up of both knees.",
        why="One animal dies once", source=LOGIC, holds=("outcome:all",),
    ),
)  # fmt: skip
