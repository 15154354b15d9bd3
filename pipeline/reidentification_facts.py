"""Five facts that somebody outside may know of an animal, and how coarsely each can be told."""

from collections.abc import Mapping

import polars as pl

from shared.files import as_text

FACTS = ("clinic", "breed", "sex", "age", "year")
UNKNOWN = "not recorded"
NOT_GIVEN = "not given"
# Steps from as it stands to not at all; the first is the table as it is.
LADDERS: Mapping[str, tuple[str, ...]] = {
    "clinic": ("each clinic", NOT_GIVEN),
    "breed": ("as recorded", "breeds of fewer than 5 animals as other",
              "breeds of fewer than 20 animals as other", NOT_GIVEN),
    "sex": ("with neuter status", "female or male", NOT_GIVEN),
    "age": ("whole years", "under 1, 1 to 3, 4 to 7, 8 and over", "under 4, 4 and over",
            NOT_GIVEN),
    "year": ("single years", "two years together", "five years together", NOT_GIVEN),
}  # fmt: skip
RARE_BREEDS = (5, 20)
AGES = ((1, "under 1"), (4, "1 to 3"), (8, "4 to 7"))


def facts_of_animals(tables: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Give one row per animal as it was at its first surgery: FACTS as text."""
    first = (
        tables["stifles"]
        .sort("animal_id", "surgery_date", "stifle_id", nulls_last=True)
        .unique("animal_id", keep="first", maintain_order=True)
    )
    animals = tables["animals"].sort("animal_id", "clinic_id", "row_id")
    known = animals.unique(["animal_id", "clinic_id"], keep="first", maintain_order=True)
    when = ("age_months", "surgery_year", "surgery_date")
    both = first.select("animal_id", "clinic_id", *when).join(
        as_text(known.select("animal_id", "clinic_id", "species", "breed", "sex_neuter")),
        on=["animal_id", "clinic_id"], how="left", maintain_order="left",
    )  # fmt: skip
    year = pl.coalesce(pl.col("surgery_year").cast(pl.Int64), pl.col("surgery_date").dt.year())
    breed = pl.concat_str("species", "breed", separator=": ")
    facts = both.select(
        clinic="clinic_id",
        breed=pl.coalesce(breed, "species", "breed"),
        sex="sex_neuter",
        age=(pl.col("age_months") // 12).cast(pl.Int64).cast(pl.String),
        year=year.cast(pl.String),
    )
    return facts.with_columns(pl.col(FACTS).fill_null(UNKNOWN))


def told(cells: pl.DataFrame) -> pl.DataFrame:
    """Add a column "fact:step" for each way to tell a fact; `cells` has FACTS and animals."""
    year = pl.col("year").cast(pl.Int64, strict=False)
    age = pl.col("age").cast(pl.Int64, strict=False)
    species = pl.col("breed").str.extract(r"^([^:]*): ").fill_null("")
    of_breed = pl.col("animals").sum().over("breed")
    other = pl.concat_str(species, pl.lit(": other"))
    rare = [pl.when(of_breed < n).then(other).otherwise("breed") for n in RARE_BREEDS]
    coarser: dict[str, list[pl.Expr]] = {
        "clinic": [],
        "breed": rare,
        "sex": [pl.col("sex").str.extract(r"^([^_]*)")],
        "age": [
            _banded(age),
            pl.when(age < 4).then(pl.lit("under 4")).otherwise(pl.lit("4 and over")),
        ],
        "year": [(year // 2 * 2).cast(pl.String), (year // 5 * 5).cast(pl.String)],
    }
    made: list[pl.Expr] = []
    for fact in FACTS:
        steps = [pl.col(fact), *coarser[fact], pl.lit(NOT_GIVEN)]
        kept = [_unless_unknown(fact, step) for step in steps[:-1]] + steps[-1:]
        made += [step.alias(f"{fact}:{place}") for place, step in enumerate(kept)]
    return cells.with_columns(made)


def _banded(age: pl.Expr) -> pl.Expr:
    band = pl.lit("8 and over")
    for below, name in reversed(AGES):
        band = pl.when(age < below).then(pl.lit(name)).otherwise(band)
    return band


def _unless_unknown(fact: str, step: pl.Expr) -> pl.Expr:
    return pl.when(pl.col(fact) == UNKNOWN).then(pl.lit(UNKNOWN)).otherwise(step)
