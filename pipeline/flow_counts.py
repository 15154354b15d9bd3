"""The flow in numbers: what remains after each step and what left, by clinic and in all."""

from collections.abc import Iterator, Sequence
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
    table: pl.DataFrame, operations: pl.DataFrame, steps: Sequence[Step]
) -> pl.DataFrame:
    """Count every step in operations, animals and stifles, by clinic and in all.

    An operation belongs to the clinic that reported it, a stifle to that of its index operation.

    Parameters
    ----------
    table
        One row per index stifle: stifle_id, animal_id, clinic_id, left_at.
    operations
        One row per operation: clinic_id, kind.
    """
    table = table.select("stifle_id", "animal_id", "clinic_id", "left_at")
    clinics = sorted({*table["clinic_id"].unique(), *operations["clinic_id"].unique()})
    rows = [
        row for clinic in (*clinics, ALL) for row in _of_clinic(table, operations, steps, clinic)
    ]
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


def _of_clinic(
    table: pl.DataFrame, operations: pl.DataFrame, steps: Sequence[Step], clinic: str
) -> Iterator[dict[str, Any]]:
    if clinic != ALL:
        table = table.filter(pl.col("clinic_id") == clinic)
        operations = operations.filter(pl.col("clinic_id") == clinic)
    n_operations, place = operations.height, 0
    for name, label, why in FIRST:
        left = operations.filter(pl.col("kind") == _kind(name)).height
        n_operations -= left
        yield _row(place, Step(name=name, label=label, why=why), clinic, table) | {
            "operations": n_operations, "left_operations": left, "left_stifles": 0,
        }  # fmt: skip
        place += 1
    for step in steps:
        leaving = pl.col("left_at") == step.name
        left = table.filter(leaving).height
        table = table.filter(~leaving.fill_null(value=False))
        yield _row(place, step, clinic, table) | {
            "operations": table.height, "left_operations": left, "left_stifles": left,
        }  # fmt: skip
        place += 1


def _kind(name: str) -> str:
    return {"revisions": "revision", "earlier": "earlier"}.get(name, "")


def _row(place: int, step: Step, clinic: str, remaining: pl.DataFrame) -> dict[str, Any]:
    return {
        "step": place, "name": step.name, "label": step.label, "clinic_id": clinic,
        "animals": remaining["animal_id"].n_unique(), "stifles": remaining.height, "why": step.why,
    }  # fmt: skip
