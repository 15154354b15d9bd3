"""The flow in numbers: what remains after each step and what left, by clinic and in all."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.by_number import greatest
from pipeline.eligibility import Step

Numbers = npt.NDArray[np.int64]
ALL = "all"
KINDS = ("earlier", "index", "revision")
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """What a clinic, or all of them, had: operations by kind; stifles and animals by step left."""

    kinds: Mapping[str, int]
    stifles: Sequence[int]
    animals: Sequence[int]


def flow_frame(
    stifles: pl.DataFrame, operations: pl.DataFrame, steps: Sequence[Step]
) -> pl.DataFrame:
    """Count every step in operations, animals and stifles, by clinic and in all.

    An operation belongs to the clinic that reported it, a stifle to that of its index operation.
    An animal leaves with the last of its stifles.

    Parameters
    ----------
    stifles
        One row per index stifle: clinic_id, left_at (names of `steps`), animal_no.
    operations
        One row per operation: clinic_id, kind.
    """
    clinics = sorted({*stifles["clinic_id"].unique(), *operations["clinic_id"].unique()})
    counts = _counted(stifles, operations, [step.name for step in steps], clinics)
    rows = [
        row for counted, clinic in zip(counts, (*clinics, ALL), strict=True)
        for row in _of_clinic(counted, steps, clinic)
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


def _counted(
    stifles: pl.DataFrame, operations: pl.DataFrame, names: Sequence[str], clinics: Sequence[str]
) -> list[Counts]:
    """Count by codes: operations by kind, stifles and animals by the step at which they left.

    Those who stay stand behind the last step. One entry per clinic, the last for all of them.
    """
    n_clinics, n_places = len(clinics), len(names) + 1
    clinic = _codes(stifles["clinic_id"], clinics)
    place = _codes(stifles["left_at"], names)
    kinds = _codes(operations["clinic_id"], clinics) * len(KINDS)
    kinds = _table(kinds + _codes(operations["kind"], KINDS), n_clinics, len(KINDS))
    left = _table(clinic * n_places + place, n_clinics, n_places)
    animal = stifles["animal_no"].cast(pl.Int64)
    animals = _last_by_clinic(animal, clinic, place, n_clinics, n_places)
    anywhere = _table(_last_places(animal, place).drop_nulls().to_numpy(), 1, n_places)
    return [
        Counts(kinds=dict(zip(KINDS, ofs.tolist(), strict=True)), stifles=sts.tolist(),
               animals=ans.tolist())
        for ofs, sts, ans in zip(
            np.vstack([kinds, kinds.sum(axis=0)]), np.vstack([left, left.sum(axis=0)]),
            np.vstack([animals, anywhere]), strict=True,
        )
    ]  # fmt: skip


def _codes(column: pl.Series, names: Sequence[str]) -> Numbers:
    """Give the place of each text in `names`; a blank stands behind the last."""
    codes = column.cast(pl.Enum(names)).to_physical().cast(pl.Int64)
    return codes.fill_null(len(names)).to_numpy()


def _table(cells: Numbers, n_rows: int, n_columns: int) -> Numbers:
    """Count the numbers of cells, which go row by row."""
    return np.bincount(cells, minlength=n_rows * n_columns).reshape(n_rows, n_columns)


def _last_by_clinic(
    animal: pl.Series, clinic: Numbers, place: Numbers, n_clinics: int, n_places: int
) -> Numbers:
    """Count the animals of each clinic by the place at which the last of their stifles left."""
    # Few animals were operated on at several clinics: only those of their stifles that are not
    # at the clinic kept for the animal need to be put in order.
    home = np.zeros(_height(animal), dtype=np.int64)
    home[animal.to_numpy()] = clinic
    away = home[animal.to_numpy()] != clinic
    last = _last_places(animal.filter(pl.Series(~away)), place[~away])
    at_home = (pl.Series(home) * n_places + last).drop_nulls()
    elsewhere = pl.DataFrame({
        "animal": animal.filter(pl.Series(away)), "clinic": clinic[away], "place": place[away],
    }).group_by("animal", "clinic").agg(pl.col("place").max())  # fmt: skip
    cells = elsewhere["clinic"] * n_places + elsewhere["place"]
    return _table(pl.concat([at_home, cells]).to_numpy(), n_clinics, n_places)


def _last_places(animal: pl.Series, place: Numbers) -> pl.Series:
    """Give the last place of each animal; null where it has no stifle."""
    return greatest(animal, pl.Series(place), _height(animal)).cast(pl.Int64)


def _height(animal: pl.Series) -> int:
    last = animal.max()
    return last + 1 if isinstance(last, int) else 0


def _of_clinic(counts: Counts, steps: Sequence[Step], clinic: str) -> Iterator[dict[str, Any]]:
    remaining = {"animals": sum(counts.animals), "stifles": sum(counts.stifles)}
    n_operations, number = sum(counts.kinds.values()), 0
    for name, label, why in FIRST:
        later = counts.kinds.get(_kind(name), 0)
        n_operations -= later
        yield _row(number, Step(name=name, label=label, why=why), clinic, remaining) | {
            "operations": n_operations, "left_operations": later, "left_stifles": 0,
        }  # fmt: skip
        number += 1
    for step, animals, stifles in zip(steps, counts.animals, counts.stifles, strict=False):
        remaining = {"animals": remaining["animals"] - animals,
                     "stifles": remaining["stifles"] - stifles}  # fmt: skip
        yield _row(number, step, clinic, remaining) | {
            "operations": remaining["stifles"], "left_operations": stifles,
            "left_stifles": stifles,
        }  # fmt: skip
        number += 1


def _kind(name: str) -> str:
    return {"revisions": "revision", "earlier": "earlier"}.get(name, "")


def _row(number: int, step: Step, clinic: str, remaining: Mapping[str, int]) -> dict[str, Any]:
    return {
        "step": number, "name": step.name, "label": step.label, "clinic_id": clinic,
        "animals": remaining["animals"], "stifles": remaining["stifles"], "why": step.why,
    }  # fmt: skip
