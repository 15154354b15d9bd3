"""Rules that set a measure against the median of all clinics: of its breed or weight band."""

from collections.abc import Sequence

import polars as pl

from schemas.rules.joined import select_columns
from schemas.rules.places import PRACTICE
from schemas.rules.rule import Frames, Rule
from schemas.rules.stifles import CAT, CHECK_UNIT, DOG

ENOUGH_ANIMALS = 5  # fewer give no median, and would tell one clinic of another's animals
ANIMAL = ("clinic_id", "local_animal")
BREED = ("animals.species", "animals.breed")
NO_BREED = "crossbreed"  # says nothing of the weight
# Pounds for kilograms or the reverse, and a lost decimal mark. Animals of a breed differ by
# about a seventh (standard deviation; common practice, no source). "Near" is twice that: within
# 30 % one slip in twenty is missed, and one right weight in some thousands is asked about; within
# a fifth one slip in six would be missed.
SLIPS, NEAR = (2.2046, 1 / 2.2046, 10.0, 0.1), 0.3
GROWN_MONTHS, ADULT_MONTHS = 9, 12
WEIGHT = pl.col("weight_kg")
# What lies outside is asked by R30 and R31.
USUAL_WEIGHT = (DOG & WEIGHT.is_between(1.5, 50)) | (CAT & WEIGHT.is_between(2, 8))
RATIO = WEIGHT / pl.col("median")
# The bands of the cohort: under 5, 5 to 9.9, 10 to 19.9, 20 kg and over.
BAND_KG = (5, 10, 20)


def with_median(rows: pl.DataFrame, value: str, by: Sequence[str], *, of: pl.DataFrame
                ) -> pl.DataFrame:  # fmt: skip
    """Put beside each row the median of `of` in its group; rows of small groups are left out.

    Parameters
    ----------
    of
        Rows the median is taken of; with the columns of an animal's code, which is what counts.
    """
    animal = [name if name in of.columns else f"stifles.{name}" for name in ANIMAL]
    medians = (
        of.filter(pl.col(value).is_not_null(), *(pl.col(name).is_not_null() for name in by))
        .group_by(by)
        .agg(pl.col(value).median().alias("median"), animals=pl.struct(animal).n_unique())
        .filter(pl.col("animals") >= ENOUGH_ANIMALS)
    )
    return rows.join(medians, on=list(by), how="inner", maintain_order="left")


def _told(what: str, unit: str) -> pl.Expr:
    return pl.concat_str(
        pl.lit(f"The median of {what} in the study is "), pl.col("median").round(1),
        pl.lit(f" {unit}."),
    ).alias("detail")  # fmt: skip


def _slip() -> pl.Expr:
    near = [RATIO.is_between(slip * (1 - NEAR), slip * (1 + NEAR)) for slip in SLIPS]
    growing = (pl.col("age_months") < GROWN_MONTHS).fill_null(value=False)
    return near[0] | (near[1] & ~growing) | near[2] | near[3]


def _weighed(frames: Frames) -> pl.DataFrame:
    return select_columns(
        frames, "stifles", ["row_id", *ANIMAL, *BREED, "weight_kg", "age_months", "bcs"]
    )


def _purebred(frames: Frames) -> pl.DataFrame:
    return _weighed(frames).filter(pl.col("animals.breed") != NO_BREED)


def _weight_slipped(frames: Frames) -> pl.DataFrame:
    rows = with_median(_purebred(frames), "weight_kg", BREED, of=_weighed(frames))
    return rows.filter(USUAL_WEIGHT & _slip()).with_columns(_told("this breed", "kg"))


def _weight_against_condition(frames: Frames) -> pl.DataFrame:
    adults = _weighed(frames).filter(pl.col("age_months") >= ADULT_MONTHS)
    rows = with_median(_purebred(frames), "weight_kg", BREED, of=adults)
    unlike = RATIO.is_between(0.15, 2.5).not_() & ~_slip()
    return rows.filter(USUAL_WEIGHT & pl.col("bcs").is_between(4, 5) & unlike).with_columns(
        _told("grown animals of this breed", "kg")
    )


def _image_out_of_scale(frames: Frames) -> pl.DataFrame:
    weight = pl.col("stifles.weight_kg")
    band = pl.sum_horizontal((weight >= low).cast(pl.Int8) for low in BAND_KG)
    animal = [f"stifles.{name}" for name in ANIMAL]
    rows = select_columns(frames, "procedures", [
        "row_id", "clinic_id", *animal, "tibial_depth_mm", "stifles.weight_kg",
    ]).filter(weight.is_not_null()).with_columns(band=band)  # fmt: skip
    rows = with_median(rows, "tibial_depth_mm", ("band",), of=rows)
    ratio = pl.col("tibial_depth_mm") / pl.col("median")
    return rows.filter(ratio.is_between(0.5, 2).not_()).with_columns(
        _told("animals of about this weight", "mm")
    )


POOLED_RULES = (
    Rule(
        id="R32", action="ask", tables=("stifles", "animals"), broken=_weight_slipped,
        shows=("weight_kg", "animals.breed"),
        says="The weight is about 2.2 or 10 times, or as small a part of, what this breed weighs.",
        fix=CHECK_UNIT, why="Pounds for kilograms, or decimal comma lost", source=PRACTICE,
    ),
    Rule(
        id="R37", action="ask", tables=("stifles", "animals"), broken=_weight_against_condition,
        shows=("weight_kg", "bcs", "animals.breed"),
        says="The body condition is ideal, but the weight is far from that of the breed.",
        fix="Check the weight, the condition score and the breed.",
        why="Weight and condition disagree", source=PRACTICE,
    ),
    Rule(
        id="R53", action="ask", tables=("procedures", "stifles"), broken=_image_out_of_scale,
        shows=("tibial_depth_mm", "stifles.weight_kg"),
        says="The tibia is under half or over twice as deep as in animals of this weight.",
        fix="Check the measure, its unit (mm) and the scale of the image.",
        why="Calibration error of the image", source=PRACTICE,
    ),
)  # fmt: skip
