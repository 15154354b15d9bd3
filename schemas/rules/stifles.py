"""Rules within one operated joint: date, weight, age, grade, end of follow-up."""

import polars as pl

from schemas.rules.joined import select_columns
from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.rule import Frames, Rule
from schemas.rules.told_once import DEAD, LOCK_DAY, SHIFTED

WEIGHT = pl.col("weight_kg")
DOG, CAT = pl.col("animals.species") == "dog", pl.col("animals.species") == "cat"
YEAR = pl.when(SHIFTED).then(pl.col("surgery_year")).otherwise(pl.col("surgery_date").dt.year())
OUTSIDE_ACCRUAL = (
    YEAR.lt(pl.col("clinics.accrual_start").dt.year())
    | YEAR.gt(pl.col("clinics.accrual_end").dt.year())
    | (~SHIFTED & (pl.col("surgery_date") < pl.col("clinics.accrual_start")))
    | (~SHIFTED & (pl.col("surgery_date") > pl.col("clinics.accrual_end")))
    | (~SHIFTED & (pl.col("surgery_date") > pl.col("clinics.data_lock_date")))
)
OSSEOUS = (
    (pl.col("procedures.sulcoplasty_type") != "none").fill_null(value=False)
    | pl.col("procedures.ttt_done").fill_null(value=False)
    | (pl.col("procedures.femoral_osteotomy") != "none").fill_null(value=False)
)
# Not yet due where the export was drawn within 30 days of surgery; an amputation is an end.
KNOWN_BRIEFLY = (
    (pl.col("end_of_followup_day") < 30)
    & pl.col("end_status").is_in([*DEAD, "amputated"]).not_()
    & (LOCK_DAY >= 30)
)
CHECK_UNIT = "Check the weight and that it is in kg, not in pounds or grams."
GRADE = "Give the grade before surgery, 1 to 4."
LAST_DAYS = {"rechecks": "recheck_day", "complications": "detected_day",
             "revisions": "revision_day", "implants": "implant_removed_day"}  # fmt: skip


def _known_later(frames: Frames) -> pl.DataFrame:
    """Give joints, but of animals that died, with an event after their last day known."""
    end = "stifles.end_of_followup_day"
    days = pl.concat(
        [
            select_columns(frames, table, ["clinic_id", "local_stifle", day, end])
            .filter(pl.col(day) > pl.col(end))
            .select("clinic_id", "local_stifle", last=day)
            for table, day in LAST_DAYS.items()
        ]
    )
    if days.is_empty():
        return days
    last = days.group_by("clinic_id", "local_stifle").agg(pl.col("last").max())
    return (
        select_columns(
            frames,
            "stifles",
            ["row_id", "clinic_id", "local_stifle", "end_of_followup_day", "end_status"],
        )
        .join(last, on=["clinic_id", "local_stifle"], how="inner", maintain_order="left")
        .filter(
            pl.col("end_of_followup_day") < pl.col("last"),
            pl.col("end_status").is_in(DEAD).not_().fill_null(value=True),
        )
        .with_columns(  # not pl.format: it panics on a column with an empty chunk (polars 2.1)
            detail=pl.concat_str(pl.lit("The last event is on day "), "last", pl.lit("."))
        )
    )


STIFLE_RULES = (
    Rule(
        id="R13", action="hold", tables=("stifles", "clinics"), broken=OUTSIDE_ACCRUAL,
        shows=("surgery_date", "clinics.accrual_start", "clinics.accrual_end"),
        says="The day of surgery lies outside the period that was searched.",
        fix="Check the day of surgery; day and month may be swapped, or the year mistyped.",
        why="Outside the searched period the case was not found by the stated method",
        source=LOGIC, holds=("outcome:all",),
    ),
    Rule(
        id="R30", action="hold", tables=("stifles", "animals"),
        broken=(DOG & WEIGHT.is_between(0.8, 100).not_())
        | (CAT & WEIGHT.is_between(1.0, 15).not_()),
        shows=("weight_kg", "animals.species"),
        says="No animal of this species has this weight.", fix=CHECK_UNIT,
        why="Outside is impossible or another unit or species", source=PRACTICE,
        holds=("weight_kg",),
    ),
    Rule(
        id="R31", action="ask", tables=("stifles", "animals"),
        broken=(DOG & WEIGHT.is_between(0.8, 100) & WEIGHT.is_between(1.5, 50).not_())
        | (CAT & WEIGHT.is_between(1.0, 15) & WEIGHT.is_between(2, 8).not_()),
        shows=("weight_kg", "animals.species", "animals.breed"),
        says="The weight is unusual for this species.", fix=CHECK_UNIT,
        why="Unusual; look for pounds or a lost decimal point", source=PRACTICE,
    ),
    Rule(
        id="R33", action="stop", tables=("stifles",), broken=pl.col("age_months") < 2,
        shows=("age_months", "surgery_date"),
        says="The animal would have been less than two months old at surgery.",
        fix="Check the date of birth, the day of surgery, and whether years were given for months.",
        why="Surgery in younger animals is not done", source=PRACTICE,
    ),
    Rule(
        id="R34", action="ask", tables=("stifles",), broken=pl.col("age_months") > 180,
        shows=("age_months",), says="The animal would have been over 15 years old at surgery.",
        fix="Check the age, and whether it is in months.", why="Unit mix of age", source=PRACTICE,
    ),
    Rule(
        id="R38", action="hold", tables=("stifles",),
        broken=pl.col("grade_preop").is_null() | pl.col("grade_preop").is_between(1, 4).not_(),
        shows=("grade_preop",), says="The grade before surgery is missing or no grade from 1 to 4.",
        fix=GRADE, why="No luxation, no case; a blank is a missing core value", source=PRACTICE,
        holds=("grade_preop",),
    ),
    Rule(
        id="R39", action="ask", tables=("stifles", "procedures"),
        broken=(pl.col("grade_preop") == 1) & OSSEOUS,
        shows=("grade_preop", "procedures.sulcoplasty_type", "procedures.ttt_done"),
        says="A grade I luxation was operated with surgery on the bone.",
        fix="Check that this is the grade before surgery, not the one after it.",
        why="Grade 1 is seldom operated; often a postoperative grade typed in the wrong column",
        source=PRACTICE,
    ),
    Rule(
        id="R20", action="ask", tables=("stifles", "clinics"), broken=KNOWN_BRIEFLY,
        shows=("end_of_followup_day", "end_status"),
        says="Nothing is known of this knee after the first 30 days; it counts as without adequate "
        "follow-up.",
        fix="Send any later contact, a call as well; if there was none, answer "
        '"correct as it is".',
        why="Cohorts commonly require 30 days or a recheck", source="Stanke et al. 2014",
    ),
    Rule(
        id="R40", action="ask", tables=("stifles",),
        broken=(pl.col("grade_preop") == 4) & (pl.col("lameness_preop") == 0),
        shows=("lameness_preop", "grade_preop"),
        says="A grade IV luxation without lameness before surgery.",
        fix="Check the grade, and whether an empty lameness was filled with 0.",
        why="Possible in small dogs with bilateral disease but rare", source=PRACTICE,
    ),
    Rule(
        id="R42", action="ask", tables=("stifles",),
        broken=pl.col("previous_stifle_surgery") == "patellar", shows=("previous_stifle_surgery",),
        says="This knee had patellar surgery before, so this is no first operation; it is shown "
        "among the operations but not in the main results.",
        fix='Confirm with "correct as it is", or correct the earlier surgery.',
        why="It is a revision",
        source="protocol definition; Rutherford et al. 2015 shows that earlier surgery changes "
        "the risk",
    ),
    Rule(
        id="R63", action="ask", tables=("stifles", "procedures"),
        broken=(pl.col("procedures.sulcoplasty_type") == "none")
        & ~pl.col("procedures.ttt_done")
        & (pl.col("procedures.femoral_osteotomy") == "none")
        & (pl.col("grade_preop") >= 3),
        shows=("grade_preop", "procedures.sulcoplasty_type", "procedures.ttt_done"),
        says="A grade III or IV luxation was operated on soft tissue alone.",
        fix="Check the list of procedures; it may have been cut off.",
        why="Soft tissue alone in grade 3-4 is unusual", source=PRACTICE,
    ),
    Rule(
        id="R16", action="hold",
        tables=("stifles", "rechecks", "complications", "revisions", "implants"),
        broken=_known_later, shows=("end_of_followup_day",),
        says="Something is recorded after the last day on which the animal is said to be known.",
        fix="Check the last day known, and the days of the rechecks and complications.",
        why="Follow-up is by definition at least as long as the last thing known", source=LOGIC,
        holds=("end_of_followup_day", "outcome:all"),
    ),
)  # fmt: skip
