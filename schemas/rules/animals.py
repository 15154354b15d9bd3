"""Rules on animals: who they are, links between clinics, death."""

import polars as pl

from schemas.rules.joined import select_columns
from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.repeated import repeated
from schemas.rules.rule import Frames, Rule
from schemas.rules.told_once import DEAD

SAME = ("clinic_id", "local_animal")


def _one_animal_two_stories(column: str, frames: Frames) -> pl.DataFrame:
    """Give the rows of an animal whose rows contradict each other in `column`."""
    rows = select_columns(frames, "animals", ["row_id", *SAME, column])
    animals = repeated(rows, SAME).filter(pl.col("local_animal").is_not_null())
    return animals.filter(pl.col(column).drop_nulls().n_unique().over(SAME) > 1)


def _sex_contradicted(frames: Frames) -> pl.DataFrame:
    """Give rows of an animal that is both female and male, or was entire after neutering.

    Rows stand in the order of their operations; entire before neutered is no contradiction.
    """
    named = ["row_id", *SAME, "file", "sheet", "row", "sex_neuter"]
    again = repeated(select_columns(frames, "animals", named), SAME)
    surgery = (
        select_columns(frames, "stifles", ["file", "sheet", "row", "surgery_date"])
        .join(
            again, on=["file", "sheet", "row"], how="semi", nulls_equal=True, maintain_order="left"
        )
        .group_by("file", "sheet", "row", maintain_order=True)
        .agg(on=pl.col("surgery_date").min())
    )
    animals = again.join(
        surgery, on=["file", "sheet", "row"], how="left", maintain_order="left", nulls_equal=True
    )
    sex = pl.col("sex_neuter").cast(pl.String).str.split("_").list
    neutered = sex.get(1, null_on_oob=True) == "neutered"
    first_neutered = pl.col("on").filter(neutered).min().over(SAME)
    last_entire = pl.col("on").filter(~neutered).max().over(SAME)
    both = sex.get(0).drop_nulls().n_unique().over(SAME) > 1
    return animals.filter(both | (last_entire > first_neutered))


def _at_two_clinics(frames: Frames) -> pl.DataFrame:
    animals = select_columns(frames, "animals", ["row_id", "clinic_id", "link_token"]).filter(
        pl.col("link_token").is_not_null()
    )
    return repeated(animals, ["link_token"]).filter(
        pl.col("clinic_id").n_unique().over("link_token") > 1
    )


def _death_cause(frames: Frames) -> pl.DataFrame:
    """Give animals with a cause without a death, or a death without the cause the clinic keeps."""
    animals = select_columns(frames, "animals", ["row_id", *SAME, "death_cause"])
    if not animals["death_cause"].count():  # no clinic keeps it
        return animals.clear()
    stifles = select_columns(frames, "stifles", [*SAME, "end_status"])
    died = stifles.filter(pl.col("end_status").is_in(DEAD)).select(SAME).unique()
    known = animals.join(
        died.with_columns(dead=pl.lit(value=True)), on=SAME, how="left", maintain_order="left"
    )
    dead, has = pl.col("dead").fill_null(value=False), pl.col("death_cause").is_not_null()
    kept = has.any().over("clinic_id")
    return known.filter((has & ~dead) | (~has & dead & kept))


def _conflict(column: str, what: str) -> Rule:
    return Rule(
        id="R04", action="hold", tables=("animals",),
        broken=_sex_contradicted if column == "sex_neuter"
        else lambda frames: _one_animal_two_stories(column, frames),
        shows=(column,), says=f"The rows of this animal give different {what}.",
        fix="Give the right one; if these are two animals, give each its own code.",
        why="Contradiction points to a wrong link or a re-used code", source=LOGIC,
        holds=(column,),
    )  # fmt: skip


CONFLICT_RULES = (
    _conflict("species", "species"), _conflict("breed", "breeds"), _conflict("sex_neuter", "sexes"),
)  # fmt: skip
ANIMAL_RULES = (
    Rule(
        id="R05", action="ask", tables=("animals",), broken=_at_two_clinics,
        shows=("local_animal", "species", "breed"),
        says="Another clinic of the network reports an animal with the same link key; the two "
        "are counted as one animal.",
        fix='If it can be the same animal, answer "correct as it is"; else check the transponder.',
        why="Referral after failure otherwise counts one dog as two and hides the failure",
        source=PRACTICE,
    ),
    Rule(
        id="R19", action="hold", tables=("animals", "stifles"), broken=_death_cause,
        shows=("death_cause",),
        says="A cause of death without a death, or a death without a cause.",
        fix="Check the status at the end of follow-up, and the cause of death.",
        why="A cause without a death, or the reverse", source=LOGIC, holds=("death_cause",),
    ),
)  # fmt: skip
