"""How far an animal of the pooled table could be singled out by facts that others may know.

Animals that agree in all five facts form a cell. A table is k-anonymous if its smallest cell has k
animals [1]_. Facts can be told more coarsely, step by step; what is still in a small cell then
must be left out. Every combination of steps is counted from scratch.

References
----------
.. [1] Sweeney L. k-anonymity: a model for protecting privacy. Int J Uncertain Fuzziness
   Knowl-Based Syst 2002;10:557-570.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import polars as pl

from pipeline.reidentification_facts import FACTS, LADDERS, facts_of_animals, told

Levels = tuple[int, ...]  # how coarsely each fact is told, in the order of FACTS
COUNTED = ("steps", "cells", "smallest_cell", "cells_under_k", "animals_under_k",
           "unique_animals", "share_under_k")  # fmt: skip
BUDGETS = (0.0, 0.01, 0.05)  # shares of animals that might be left out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reidentification:
    """Cells of the pooled table, and what would reach `k`.

    Attributes
    ----------
    cells
        As the table stands: the facts and ``animals``, the smallest cells first.
    ways
        One row per combination: how each fact is told, ``steps`` taken, ``cells``,
        ``smallest_cell``, ``cells_under_k``, ``animals_under_k`` (to be left out to reach k),
        ``unique_animals``, ``share_under_k``, ``path`` (place on the way of greatest gain).
    """

    k: int
    animals: int
    cells: pl.DataFrame
    ways: pl.DataFrame

    @property
    def as_it_stands(self) -> Mapping[str, float | int]:
        """The counts before anything is told more coarsely."""
        return self.ways.row(0, named=True)

    @property
    def path(self) -> pl.DataFrame:
        """The combinations met by taking, each time, the step that helps most animals."""
        return self.ways.filter(pl.col("path").is_not_null()).sort("path")

    def reaching(self, share: float) -> pl.DataFrame:
        """Give the ways of fewest steps that reach k once up to this share is left out."""
        good = self.ways.filter(pl.col("share_under_k") <= share)
        fewest = good.filter(pl.col("steps") == pl.col("steps").min())
        return fewest.sort("animals_under_k", *FACTS)


def measure(tables: Mapping[str, pl.DataFrame], *, k: int) -> Reidentification:
    """Measure the pooled accepted tables of all clinics.

    Parameters
    ----------
    tables
        Linked tables: ``stifles`` and ``animals`` under animal_id.
    k
        Fewest animals a cell should have.
    """
    facts = facts_of_animals(tables)
    counted = facts.group_by(FACTS).agg(animals=pl.len().cast(pl.Int64)).sort("animals", *FACTS)
    coarser = told(counted)
    ways = {levels: _way(coarser, levels, k=k) for levels in _combinations()}
    path = _greedy(ways)
    rows = [
        {fact: LADDERS[fact][level] for fact, level in zip(FACTS, levels, strict=True)}
        | way | {"path": path.index(levels) if levels in path else None}
        for levels, way in ways.items()
    ]  # fmt: skip
    return Reidentification(k=k, animals=facts.height, cells=counted, ways=_frame(rows))


def cell_sizes(table: pl.DataFrame, columns: Sequence[str], *, weight: str = "") -> pl.Series:
    """Give the number of rows, or the sum of `weight`, of each cell over these columns."""
    size = pl.col(weight).sum() if weight else pl.len().cast(pl.Int64)
    return table.group_by(columns).agg(size=size)["size"].sort()


def _way(coarser: pl.DataFrame, levels: Levels, *, k: int) -> dict[str, float | int]:
    names = [f"{fact}:{level}" for fact, level in zip(FACTS, levels, strict=True)]
    sizes = cell_sizes(coarser, names, weight="animals")
    small = sizes.filter(sizes < k)
    under, animals = int(small.sum()), int(sizes.sum())
    values = (sum(levels), len(sizes), int(sizes[0]) if len(sizes) else 0, len(small), under,
              int((sizes == 1).sum()), under / animals if animals else 0.0)  # fmt: skip
    return dict(zip(COUNTED, values, strict=True))


def _combinations() -> Iterable[Levels]:
    return product(*(range(len(LADDERS[fact])) for fact in FACTS))


def _greedy(ways: Mapping[Levels, Mapping[str, float | int]]) -> list[Levels]:
    """Take the step that leaves fewest animals in small cells, until none is left in one."""
    here: Levels = tuple(0 for _ in FACTS)
    path: list[Levels] = [here]
    while ways[here]["animals_under_k"]:
        stepped = [
            tuple(n + (place == at) for place, n in enumerate(here)) for at in range(len(here))
        ]
        open_steps = [levels for levels in stepped if levels in ways]
        if not open_steps:
            break
        here = min(open_steps, key=lambda levels: ways[levels]["animals_under_k"])
        path.append(here)
    return path


def _frame(rows: Sequence[Mapping[str, object]]) -> pl.DataFrame:
    types: dict[str, pl.DataType] = {fact: pl.String() for fact in FACTS}
    types |= {name: pl.Int64() for name in (*COUNTED, "path")} | {"share_under_k": pl.Float64()}
    return pl.DataFrame(list(rows), schema=types)
