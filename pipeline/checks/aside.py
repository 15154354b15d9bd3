"""Test records are set aside, exact copies and rows about one animal are merged."""

from collections.abc import Sequence

import polars as pl

from pipeline.checks.evaluate import Hit
from pipeline.checks.rows import FATE_SCHEMA, take_children, take_out, take_rows
from schemas.rules.repeated import repeated
from schemas.rules.rule import Frames

ANIMAL = ["clinic_id", "local_animal"]
STIFLE = ["clinic_id", "local_stifle"]


def set_aside_tests(tables: Frames, hits: Sequence[Hit]
                    ) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:  # fmt: skip
    """Set test animals aside with all that belongs to them, and test operations likewise."""
    tests = [hit for hit in hits if hit.rule.id == "R08"]
    if not tests:
        return dict(tables), pl.DataFrame(schema=dict(FATE_SCHEMA))
    row_ids = pl.concat([pl.Series(dtype=pl.String), *(hit.rows["row_id"] for hit in tests)])
    listed = pl.col("row_id").is_in(row_ids.implode())
    operations = tables["stifles"].filter(listed)
    animals = pl.concat([
        tables["animals"].filter(listed).select(ANIMAL), _only_tests(tables, operations)
    ]).unique(maintain_order=True)  # fmt: skip
    of_animals = tables["stifles"].join(animals, on=ANIMAL, how="semi", maintain_order="left")
    stifles = pl.concat([operations.select(STIFLE), of_animals.select(STIFLE)]).unique(
        maintain_order=True
    )
    left, first = take_children(tables, animals, fate="set_aside", rule="R08")
    left, second = take_children(left, stifles, fate="set_aside", rule="R08")
    return left, pl.concat([first, second])


def _only_tests(tables: Frames, operations: pl.DataFrame) -> pl.DataFrame:
    """Give the animals whose every operation is a test."""
    real = tables["stifles"].join(operations, on="row_id", how="anti", maintain_order="left")
    return (
        operations.select(ANIMAL)
        .filter(pl.col("local_animal").is_not_null())
        .join(real, on=ANIMAL, how="anti", maintain_order="left")
    )


def merge_copies(tables: Frames, hits: Sequence[Hit]
                 ) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:  # fmt: skip
    """Count exact copies once."""
    return take_out(tables, [hit for hit in hits if hit.rule.id == "R07"], "merged")


def merge_animals(tables: Frames, conflicts: Sequence[Hit]
                  ) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:  # fmt: skip
    """Make one row of the rows of an animal: the value they give, none where they contradict.

    An export with a row per knee says everything about the animal twice. An animal that was
    neutered between two operations is entire, as at the first.
    """
    animals = _contradictions_emptied(tables["animals"], conflicts)
    known = pl.col("local_animal").is_not_null()
    if animals.select(known.all()).item() and repeated(animals.select(ANIMAL), ANIMAL).is_empty():
        return {**tables, "animals": animals}, pl.DataFrame(schema=dict(FATE_SCHEMA))
    said = [name for name in animals.columns
            if name not in {"row_id", "file", "sheet", "row", "block", *ANIMAL}]  # fmt: skip
    sex = pl.col("sex_neuter").cast(pl.String)
    entire_first = sex.str.ends_with("_entire").fill_null(value=False)
    merged = (
        animals.filter(known)
        .with_columns(pl.when(entire_first.any().over(ANIMAL) & ~entire_first)
                      .then(None).otherwise(pl.col("sex_neuter")).alias("sex_neuter"))
        .with_columns(pl.col(said).drop_nulls().first().over(ANIMAL))
    )  # fmt: skip
    again = merged.filter(~pl.struct(ANIMAL).is_first_distinct())
    _, fates = take_rows(animals, again["row_id"], table="animals", fate="merged", rule="")
    kept = merged.filter(pl.struct(ANIMAL).is_first_distinct())
    return {**tables, "animals": pl.concat([kept, animals.filter(~known)])}, fates


def _contradictions_emptied(animals: pl.DataFrame, conflicts: Sequence[Hit]) -> pl.DataFrame:
    for hit in conflicts:
        named = pl.col("row_id").is_in(hit.rows["row_id"].implode())
        name = hit.rule.shows[0]
        animals = animals.with_columns(
            pl.when(named).then(None).otherwise(pl.col(name)).alias(name)
        )
    return animals
