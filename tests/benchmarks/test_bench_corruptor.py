"""What the checks catch of damaged exports, and what the damage does to the primary estimates.

Run by ``make bench``. At least five instances of every rule that a raw export can break, and 504
random edits in seven kinds, each in an animal of its own, are read, mapped and checked beside the
undamaged export. Rules on mappings and on files that nobody reads (M12, M13, M15) are not damage
to data, and M09 only counts what M01 lists; they are left out.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.analyse import run_analyses
from pipeline.check import Checked, check
from pipeline.cohort import build_cohort
from pipeline.intake.study_intake import read_study as read_exports
from pipeline.link import link
from pipeline.plan import parse_analyses
from pipeline.simulate.canonical import canonical_sheets, save_canonical
from pipeline.simulate.corrupt import KINDS, SHIFTED, random_defect
from pipeline.simulate.defects.canonical import CANONICAL
from pipeline.simulate.defects.rare import RARE
from pipeline.simulate.demo import DEFECTS
from pipeline.simulate.grid import Grid
from pipeline.simulate.planting import Defect, plant
from pipeline.simulate.simulated import simulate_study
from pipeline.simulate.whole import WHOLE
from pipeline.simulate.write import fill_sheets, save_exports
from pipeline.study import read_study
from schemas.codebook import read_codebook
from schemas.rules.every import RULES

Publish = Callable[[pl.DataFrame, str, str], None]
Sheets = dict[str, list[Grid]]
EXPOSURES = {"relux": "sulcoplasty_type", "band": "tension_band_done", "wires": "kwire_count"}
INSTANCES, RANDOM, NETWORKS = 5, 504, 12
CODEBOOK = read_codebook()
PLACE = ("clinic_id", "file", "sheet", "row", "rule", "column", "value")
# What is meant to catch a random edit: unreadable or impossible cells, rows that lose their place.
MEANT: Mapping[str, tuple[str, ...]] = {
    "digit swapped": ("C02", "C05", "M01", "M02", "M03", "M04", "R01"),
    "day and month swapped": ("M03", "R11", "R13", "R14", "R15", "R16", "R17", "R18", "R23"),
    "unit changed": ("C02", "C05", "M02", "M04", "R30", "R31", "R33", "R48", "R49", "R57"),
    SHIFTED: ("M01", "M02", "M03", "M04", "M05", "M06", "M08", "M11"),
    "side flipped": ("M06", "R01", "R02", "R09", "R10", "R27", "R71", "R72"),
    "blank to 0": ("C02", "M01", "M02", "M03", "R38", "R44", "R45", "R47", "R60"),
    "decimal mark lost": ("C02", "C05", "M02", "R30", "R31"),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Read:
    """One study as read and checked, with its adjusted log hazard ratios."""

    checked: Checked
    estimates: Mapping[str, float]


@cache
def made(seed: int) -> Mapping[str, pl.DataFrame]:
    return simulate_study(seed).tables


def read(sheets: Sheets, folder: Path, *, canonical: bool) -> Read:
    (save_canonical if canonical else save_exports)(sheets, folder / "exports")
    with as_file(files("shared") / "demo") as demo:
        if not canonical:
            (folder / "mappings").mkdir()
            for path in (demo / "mappings").glob("*.toml"):
                (folder / "mappings" / path.name).write_bytes(path.read_bytes())
        study = read_study(demo)
    checked = check(read_exports(folder, CODEBOOK), CODEBOOK)
    table = build_cohort(link(checked.tables, checked.holds), study).table
    wanted = {f"{question}_hazard" for question in EXPOSURES}
    blocks = [block for block in study.analyses if block["id"] in wanted]
    included = table.filter(pl.col("left_at").is_null()).sort("stifle_id")
    results = run_analyses(
        included, parse_analyses(blocks), codebook={}, on_step=lambda _name: None
    ).results
    adjusted = results.filter(measure="hazard_ratio", adjustment="adjusted").drop_nulls("estimate")
    return Read(
        checked=checked,
        estimates={
            question: _log_hazard_ratio(adjusted.filter(
                analysis=f"{question}_hazard", term=exposure))
            for question, exposure in EXPOSURES.items()
        },
    )  # fmt: skip


def _log_hazard_ratio(row: pl.DataFrame) -> float:
    """Give the estimate, or NaN where the damage left no event."""
    return float(np.log(row["estimate"][0])) if row.height else float("nan")


class Bench:
    """Undamaged studies by seed, and what damage to them leads to."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.runs = folder, 0
        self.clean: dict[tuple[int, bool], Read] = {}

    def fill(self, seed: int, *, canonical: bool) -> Sheets:
        return (canonical_sheets if canonical else fill_sheets)(made(seed))

    def undamaged(self, seed: int, *, canonical: bool) -> Read:
        key = (seed, canonical)
        if key not in self.clean:
            self.clean[key] = self.run(self.fill(seed, canonical=canonical), canonical=canonical)
        return self.clean[key]

    def run(self, sheets: Sheets, *, canonical: bool) -> Read:
        self.runs += 1
        return read(sheets, self.folder / str(self.runs), canonical=canonical)

    def fates(self, seed: int, sheets: Sheets, listed: pl.DataFrame, *, canonical: bool
              ) -> list[dict[str, Any]]:  # fmt: skip
        """Say of each listed defect how it was caught, and how far the estimates moved."""
        clean = self.undamaged(seed, canonical=canonical)
        damaged = self.run(sheets, canonical=canonical)
        new = damaged.checked.findings.join(clean.checked.findings, on=PLACE, how="anti",
                                            nulls_equal=True)  # fmt: skip
        moved = {f"change {name}": damaged.estimates[name] - clean.estimates[name]
                 for name in EXPOSURES}  # fmt: skip
        rows: list[dict[str, Any]] = []
        for defect in listed.iter_rows(named=True):
            animal = _animal(sheets, defect)
            fate = _fate(defect, animal, new)
            if fate == "unseen" and not _differs(defect["clinic"], animal, clean, damaged):
                fate = "unseen, no value changed"
            rows.append({"rule": defect["rule"], "kind": defect["kind"], "fate": fate} | moved)
        return rows


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return Bench(tmp_path_factory.mktemp("corrupted"))


def _animal(sheets: Sheets, defect: Mapping[str, Any]) -> str:
    grid = next(item for item in sheets[defect["clinic"]]
                if (item.file, item.sheet) == (defect["file"], defect["sheet"]))  # fmt: skip
    case = grid.cases[defect["row"] - len(grid.title) - 2]
    return "" if case is None else case.animal


def _fate(defect: Mapping[str, Any], animal: str, new: pl.DataFrame) -> str:
    copied = str(defect["what_was"]).removeprefix("copy of row ")
    rows = [defect["row"], *([int(copied)] if copied != defect["what_was"] else [])]
    here = new.filter(pl.col("clinic_id") == defect["clinic"])
    at_row = here.filter(pl.col("row").is_in(rows), pl.col("file") == defect["file"],
                         pl.col("sheet") == defect["sheet"])  # fmt: skip
    meant = MEANT.get(defect["kind"], (defect["rule"],))
    of_animal = here.filter(pl.col("key").str.starts_with(animal))
    if at_row["rule"].is_in(meant).any():
        return "intended"
    return "otherwise" if at_row.height or of_animal.height else "unseen"


def _differs(clinic: str, animal: str, clean: Read, damaged: Read) -> bool:
    for name, frame in clean.checked.tables.items():
        code = "local_animal" if "local_animal" in frame.columns else "local_stifle"
        if code not in frame.columns:
            continue
        own = (pl.col("clinic_id") == clinic) & pl.col(code).str.starts_with(animal)
        variables = pl.all().exclude("row_id", "file", "sheet", "row", "block")
        before = frame.filter(own).select(variables)
        if not before.equals(damaged.checked.tables[name].filter(own).select(variables)):
            return True
    return False


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
    for defect in CANONICAL:
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
    """Damage a whole file of each clinic; such a rule asks once, of the file or the clinic."""
    clean = bench.undamaged(1, canonical=rule in CANONICAL_WHOLE)
    sheets = bench.fill(1, canonical=rule in CANONICAL_WHOLE)
    clinics = spoil(sheets)
    damaged = bench.run(sheets, canonical=rule in CANONICAL_WHOLE)
    new = damaged.checked.findings.join(clean.checked.findings, on=PLACE, how="anti",
                                        nulls_equal=True)  # fmt: skip
    moved = {f"change {name}": damaged.estimates[name] - clean.estimates[name]
             for name in EXPOSURES}  # fmt: skip
    return [
        {
            "rule": rule, "kind": "whole file",
            "fate": "intended" if new.filter(clinic_id=clinic, rule=rule).height
            else "otherwise" if new.filter(clinic_id=clinic).height else "unseen",
        } | moved
        for clinic in clinics
    ]  # fmt: skip


CANONICAL_WHOLE = ("R05",)


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
                used.add(_animal(sheets, done.row(0, named=True)))
                listed.append(done)
        rows += bench.fates(1, sheets, pl.concat(listed), canonical=False)
    table = tabulate(rows, "kind")
    publish(table, f"{RANDOM} random edits", "corruptor_random.md")
    assert table["damaged"].sum() >= 500
    caught = pl.col("fate").is_in(["intended", "otherwise"])
    assert pl.DataFrame(rows).select(caught.mean()).item() > 0.5


def _unused(defect: Defect, used: set[str]) -> Callable[..., bool]:
    return lambda row, case: case.animal not in used and defect.where(row, case)
