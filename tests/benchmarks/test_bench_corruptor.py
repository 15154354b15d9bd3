"""What the checks catch of damaged exports, and what the damage does to the primary estimates.

Run by ``make bench``. At least five instances of every rule that a raw export can break, and 504
random edits in seven kinds, each in an animal of its own, are read, mapped and checked beside the
undamaged export. Rules on mappings and on files that nobody reads (M12, M13, M15) are not damage
to data, and M09 only counts what M01 lists; they are left out.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.simulate.corrupt import KINDS, SHIFTED, random_defect
from pipeline.simulate.defects.canonical import CANONICAL
from pipeline.simulate.defects.canonical_rare import CANONICAL_RARE
from pipeline.simulate.defects.rare import RARE
from pipeline.simulate.demo import DEFECTS
from pipeline.simulate.planting import Defect, plant
from pipeline.simulate.whole import WHOLE
from schemas.rules.every import RULES
from tests.benchmarks.corruptor import EXPOSURES, Bench, Sheets, animal_of, what_is_new

Publish = Callable[[pl.DataFrame, str, str], None]
INSTANCES, RANDOM, NETWORKS = 5, 504, 12
CANONICAL_WHOLE = ("R05", "R22", "R65", "R66")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return Bench(tmp_path_factory.mktemp("corrupted"))


def _by_rule() -> dict[str, dict[str, list[Defect]]]:
    listed: dict[str, dict[str, list[Defect]]] = {}
    for source in (DEFECTS, RARE):
        for clinic, defects in source.items():
            for defect in defects:
                listed.setdefault(defect.rule, {}).setdefault(clinic, []).append(defect)
    return dict(sorted(listed.items()))


def _plant_rule(bench: Bench, defects: Mapping[str, list[Defect]], *, canonical: bool
                ) -> list[dict[str, Any]]:  # fmt: skip
    """Plant every defect five times in the demo, and in further networks until there are five."""
    rows: list[dict[str, Any]] = []
    for seed in range(1, NETWORKS + 1):
        sheets = bench.fill(seed, canonical=canonical)
        listed = plant(np.random.default_rng([seed, 4]), sheets, defects, times=INSTANCES)
        if listed.height:
            rows += bench.fates(seed, sheets, listed, canonical=canonical)
        if len(rows) >= INSTANCES:
            break
    return rows


def tabulate(rows: Iterable[Mapping[str, Any]], by: str) -> pl.DataFrame:
    frame = pl.DataFrame(list(rows))
    names = ("intended", "otherwise", "unseen", "unseen, no value changed")
    return (
        frame.group_by(by, maintain_order=True)
        .agg(
            damaged=pl.len(),
            **{name: (pl.col("fate") == name).sum() for name in names},
            **{f"change {name}": pl.col(f"change {name}").first() for name in EXPOSURES},
        )
        .sort(by)
    )


def test_every_rule_finds_what_it_is_meant_for(bench: Bench, publish: Publish) -> None:
    rows = [row for defects in _by_rule().values()
            for row in _plant_rule(bench, defects, canonical=False)]  # fmt: skip
    for defect in (*CANONICAL, *CANONICAL_RARE):
        rows += _plant_rule(bench, {"north": [defect]}, canonical=True)
    for rule, spoil in WHOLE.items():
        rows += _whole(bench, rule, spoil)
    table = tabulate(rows, "rule")
    publish(table, "Damage by the rule meant to find it", "corruptor_rules.md")
    assert {rule.id for rule in RULES} <= set(table["rule"])
    assert table["damaged"].min() >= INSTANCES  # type: ignore[operator]
    unseen = table.filter(pl.col("unseen") > 0)
    assert unseen.is_empty(), unseen
    assert pl.DataFrame(rows).select((pl.col("fate") == "intended").mean()).item() >= 0.9


def _whole(bench: Bench, rule: str, spoil: Callable[[Sheets], list[str]]) -> list[dict[str, Any]]:
    """Damage whole files of each clinic; such a rule asks once, of the file or the clinic."""
    canonical, rows = rule in CANONICAL_WHOLE, list[dict[str, Any]]()
    for seed in range(1, NETWORKS + 1):
        clean, sheets = bench.undamaged(seed, canonical=canonical), bench.fill(
            seed, canonical=canonical)  # fmt: skip
        clinics = spoil(sheets)
        new, moved = what_is_new(clean, bench.run(sheets, canonical=canonical))
        rows += [
            {
                "rule": rule, "kind": "whole file",
                "fate": "intended" if new.filter(clinic_id=clinic, rule=rule).height
                else "otherwise" if new.filter(clinic_id=clinic).height else "unseen",
            } | moved
            for clinic in clinics
        ]  # fmt: skip
        if len(rows) >= INSTANCES:
            break
    return rows


def test_random_edits_are_counted_by_how_they_were_caught(bench: Bench, publish: Publish) -> None:
    kinds = sorted((*KINDS, SHIFTED))
    rows: list[dict[str, Any]] = []
    for place, kind in enumerate(kinds):
        rng = np.random.default_rng([place, 5])
        sheets = bench.fill(1, canonical=False)
        names = list(sheets)
        listed: list[pl.DataFrame] = []
        used: set[str] = set()
        while len(listed) < RANDOM // len(kinds):
            clinic = names[int(rng.integers(len(names)))]
            defect = random_defect(kind, rng, sheets[clinic])
            if defect is None:
                continue
            fresh = replace(defect, where=_unused(defect, used))
            done = plant(rng, sheets, {clinic: [fresh]})
            if done.height:
                used.add(animal_of(sheets, done.row(0, named=True)))
                listed.append(done)
        rows += bench.fates(1, sheets, pl.concat(listed), canonical=False)
    table = tabulate(rows, "kind")
    publish(table, f"{RANDOM} random edits", "corruptor_random.md")
    assert table["damaged"].sum() >= 500
    caught = pl.col("fate").is_in(["intended", "otherwise"])
    assert pl.DataFrame(rows).select(caught.mean()).item() > 0.5


def _unused(defect: Defect, used: set[str]) -> Callable[..., bool]:
    return lambda row, case: case.animal not in used and defect.where(row, case)
