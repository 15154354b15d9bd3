"""The flow in numbers: what remains after each step and what left, by clinic and in all."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import polars as pl

from pipeline.eligibility import Step

ALL = "all"
FLOW_SCHEMA: dict[str, pl.DataType] = {
    "step": pl.Int64(), "name": pl.String(), "label": pl.String(), "clinic_id": pl.String(),
    "operations": pl.Int64(), "animals": pl.Int64(), "stifles": pl.Int64(),
    "left_operations": pl.Int64(), "left_stifles": pl.Int64(), "why": pl.String(),
}  # fmt: skip
FIRST = (
    ("operations", "Operations in the accepted rows", ""),
    ("revisions", "Without later operations on a joint", "revision of an index operation"),
    ("earlier", "Index operations", "operation before the first patellar one on the joint"),
)


def flow_frame(
    table: pl.DataFrame, operations: pl.DataFrame, steps: Sequence[Step], animals: pl.Series
) -> pl.DataFrame:
    """Count every step in operations, animals and stifles, by clinic and in all.

    An operation belongs to the clinic that reported it, a stifle to that of its index operation.

    Parameters
    ----------
    table
        One row per index stifle: stifle_id, animal_id, clinic_id, left_at.
    operations
        One row per operation: clinic_id, kind.
    animals
        The number of the animal of each row of `table`.
    """
    clinics = sorted({*table["clinic_id"].unique(), *operations["clinic_id"].unique()})
    left = _left_by_clinic(table, steps, animals)
    kinds = operations.group_by("clinic_id", "kind").len()
    rows = [
        row for clinic in (*clinics, ALL)
        for row in _of_clinic(left, kinds, steps, clinic)
    ]  # fmt: skip
    flow = pl.DataFrame(rows, schema=FLOW_SCHEMA, orient="row")
    order = {clinic: place for place, clinic in enumerate((ALL, *clinics))}
    flow = flow.sort("step", pl.col("clinic_id").replace_strict(order, return_dtype=pl.Int64))
    add_up(flow)
    return flow


def add_up(flow: pl.DataFrame) -> None:
    """Make sure that nothing is lost on the way.

    Raises
    ------
    AssertionError
        If what remains after a step is not what remained before it less what left, or the
        clinics do not sum to the whole.
    """
    chain = flow.sort("clinic_id", "step").with_columns(
        (pl.col(name).shift(1) - pl.col(f"left_{name}")).over("clinic_id").alias(f"expected {name}")
        for name in ("operations", "stifles")
    )
    wrong = chain.filter(
        (pl.col("expected operations") != pl.col("operations"))
        | (pl.col("expected stifles") != pl.col("stifles"))
    )
    counted = ("operations", "stifles", "left_operations", "left_stifles")
    summed = flow.filter(pl.col("clinic_id") != ALL).group_by("step").agg(pl.col(counted).sum())
    whole = flow.filter(pl.col("clinic_id") == ALL).select("step", *counted)
    if wrong.height or not summed.sort("step").equals(whole.sort("step")):
        raise AssertionError(f"the flow does not add up: {wrong.head(3).rows()}")


def _left_by_clinic(table: pl.DataFrame, steps: Sequence[Step], animals: pl.Series) -> pl.DataFrame:
    """Count stifles, and animals by their last stifle, at the step at which they left.

    Columns: clinic_id, place (of the step; their number for those who stay), stifles, animals.
    """
    names = [step.name for step in steps]
    place = pl.col("left_at").replace_strict(
        names, list(range(len(names))), default=len(names), return_dtype=pl.Int8
    )
    own = table.select("clinic_id", place=place, animal=animals)
    own = own.with_columns(pl.col("clinic_id").cast(pl.Categorical))
    # Most animals have one stifle: only the others are put together.
    several = own["animal"].is_duplicated()
    alone, together = own.filter(~several), own.filter(several)
    counted: list[pl.DataFrame] = []
    for clinic in (pl.col("clinic_id"), pl.lit(ALL).alias("clinic_id")):
        last = together.group_by(clinic, "animal").agg(pl.col("place").max())
        animals_at = [part.group_by(clinic, "place").agg(animals=pl.len())
                      for part in (alone, last)]  # fmt: skip
        stifles = own.group_by(clinic, "place").agg(stifles=pl.len())
        parts = pl.concat([*animals_at, stifles], how="diagonal")
        counted.append(parts.with_columns(pl.col("clinic_id").cast(pl.String)))
    sums = pl.concat(counted).group_by("clinic_id", "place")
    return sums.agg(pl.col("stifles", "animals").sum().cast(pl.Int64)).sort("clinic_id", "place")


def _of_clinic(
    left: pl.DataFrame, kinds: pl.DataFrame, steps: Sequence[Step], clinic: str
) -> Iterator[dict[str, Any]]:
    if clinic != ALL:
        kinds = kinds.filter(pl.col("clinic_id") == clinic)
    left = left.filter(pl.col("clinic_id") == clinic)
    stays = {row["place"]: row for row in left.iter_rows(named=True)}
    remaining = {unit: int(left[unit].sum()) for unit in ("animals", "stifles")}
    n_operations, number = int(kinds["len"].sum()), 0
    for name, label, why in FIRST:
        later = int(kinds.filter(pl.col("kind") == _kind(name))["len"].sum())
        n_operations -= later
        yield _row(number, Step(name=name, label=label, why=why), clinic, remaining) | {
            "operations": n_operations, "left_operations": later, "left_stifles": 0,
        }  # fmt: skip
        number += 1
    for place, step in enumerate(steps):
        gone = stays.get(place, {"animals": 0, "stifles": 0})
        remaining = {unit: remaining[unit] - gone[unit] for unit in remaining}
        yield _row(number, step, clinic, remaining) | {
            "operations": remaining["stifles"], "left_operations": gone["stifles"],
            "left_stifles": gone["stifles"],
        }  # fmt: skip
        number += 1


def _kind(name: str) -> str:
    return {"revisions": "revision", "earlier": "earlier"}.get(name, "")


def _row(number: int, step: Step, clinic: str, remaining: Mapping[str, int]) -> dict[str, Any]:
    return {
        "step": number, "name": step.name, "label": step.label, "clinic_id": clinic,
        "animals": remaining["animals"], "stifles": remaining["stifles"], "why": step.why,
    }  # fmt: skip
