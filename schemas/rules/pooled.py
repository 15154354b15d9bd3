"""Rules that set a measure against the median of all clinics: of its breed or weight band."""

from collections.abc import Sequence

import polars as pl

from schemas.rules.joined import made_once, select_columns
from schemas.rules.places import PRACTICE
from schemas.rules.rule import Frames, Rule
from schemas.rules.stifles import CAT, CHECK_UNIT, DOG

ENOUGH_ANIMALS = 5  # fewer give no median, and would tell one clinic of another's animals
ANIMAL = ("clinic_id", "local_animal")
BREED = ("animals.species", "animals.breed")
PUREBRED = pl.col("animals.breed") != "crossbreed"  # which says nothing of the weight
FIRST_ROWS = 20
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


def with_median(rows: pl.DataFrame, value: str, group: str, *, of: pl.DataFrame) -> pl.DataFrame:
    """Put beside each row the median of `of` in its group; none where the group is small.

    Parameters
    ----------
    group
        A column of small numbers from 0, the same in both frames.
    of
        Rows the median is taken of; with the columns of an animal's code, which is what counts.
    """
    animal = [name if name in of.columns else f"stifles.{name}" for name in ANIMAL]
    known = of.select(group, value, *animal).filter(
        pl.col(value).is_not_null(), pl.col(group).is_not_null()
    )
    medians = known.group_by(group).agg(median=pl.col(value).median())
    enough = _of_enough_animals(known, group, animal)
    every = pl.DataFrame({group: pl.int_range(1 + _highest(rows[group]), eager=True)})
    listed = every.join(
        medians.join(enough, on=group, how="semi").with_columns(pl.col(group).cast(pl.Int64)),
        on=group, how="left", maintain_order="left",
    )  # fmt: skip
    return rows.with_columns(listed["median"].gather(rows[group].cast(pl.UInt32)))


def _of_enough_animals(rows: pl.DataFrame, group: str, animal: Sequence[str]) -> pl.DataFrame:
    """Give the groups of enough animals; the first rows mostly tell."""
    enough = pl.struct(animal).n_unique() >= ENOUGH_ANIMALS
    told = rows.group_by(group).head(FIRST_ROWS).group_by(group).agg(enough=enough)
    few = told.filter(~pl.col("enough"))
    counted = rows.join(few, on=group, how="semi").group_by(group).agg(enough=enough)
    return pl.concat([told, counted]).filter("enough").select(group)


def _highest(numbers: pl.Series) -> int:
    return int(numbers.max() or 0)  # type: ignore[arg-type]


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
    return made_once(frames, "weighed", _with_breed)


def _with_breed(frames: Frames) -> pl.DataFrame:
    """Give what is asked of weights, with a number for each species and breed."""
    rows = select_columns(
        frames, "stifles", ["row_id", *ANIMAL, *BREED, "weight_kg", "age_months", "bcs"]
    )
    species, breed = (
        rows[name].cast(pl.Categorical(pl.Categories.random())).to_physical().cast(pl.Int64)
        for name in BREED
    )
    return rows.with_columns(breed_no=species * (1 + _highest(breed)) + breed)


def _weight_slipped(frames: Frames) -> pl.DataFrame:
    weighed = _weighed(frames)
    rows = with_median(weighed, "weight_kg", "breed_no", of=weighed)
    return rows.filter(USUAL_WEIGHT & _slip(), PUREBRED).with_columns(_told("this breed", "kg"))


def _weight_against_condition(frames: Frames) -> pl.DataFrame:
    adults = _weighed(frames).filter(pl.col("age_months") >= ADULT_MONTHS)
    rows = with_median(_weighed(frames), "weight_kg", "breed_no", of=adults)
    unlike = RATIO.is_between(0.15, 2.5).not_() & ~_slip()
    usual = USUAL_WEIGHT & pl.col("bcs").is_between(4, 5)
    return rows.filter(usual & unlike, PUREBRED).with_columns(
        _told("grown animals of this breed", "kg")
    )


def _image_out_of_scale(frames: Frames) -> pl.DataFrame:
    weight = pl.col("stifles.weight_kg")
    band = pl.sum_horizontal((weight >= low).cast(pl.Int64) for low in BAND_KG)
    animal = [f"stifles.{name}" for name in ANIMAL]
    rows = select_columns(frames, "procedures", [
        "row_id", "clinic_id", *animal, "tibial_depth_mm", "stifles.weight_kg",
    ]).with_columns(band=pl.when(weight.is_not_null()).then(band))  # fmt: skip
    rows = with_median(rows, "tibial_depth_mm", "band", of=rows)
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
