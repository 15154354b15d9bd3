"""Damaged exports read, mapped and checked beside undamaged ones, and what became of the damage."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.analyse import run_analyses
from pipeline.check import Checked, check
from pipeline.cohort import build_cohort
from pipeline.descriptive.arms import included
from pipeline.intake.study_intake import read_study as read_exports
from pipeline.link import link
from pipeline.plan import parse_analyses
from pipeline.simulate.canonical import canonical_sheets, save_canonical
from pipeline.simulate.corrupt import SHIFTED
from pipeline.simulate.grid import Grid
from pipeline.simulate.simulated import simulate_study
from pipeline.simulate.write import fill_sheets, save_exports
from pipeline.study import read_study
from schemas.codebook import read_codebook

Sheets = dict[str, list[Grid]]
EXPOSURES = {"relux": "sulcoplasty_type", "band": "tension_band_done", "wires": "kwire_count"}
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
    stifles = included(table).sort("stifle_id")
    results = run_analyses(
        stifles, parse_analyses(blocks), codebook={}, on_step=lambda _name: None
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
        new, moved = what_is_new(clean, damaged)
        rows: list[dict[str, Any]] = []
        for defect in listed.iter_rows(named=True):
            animal = animal_of(sheets, defect)
            fate = _fate(defect, animal, new)
            if fate == "unseen" and not _differs(defect["clinic"], animal, clean, damaged):
                fate = "unseen, no value changed"
            rows.append({"rule": defect["rule"], "kind": defect["kind"], "fate": fate} | moved)
        return rows


def animal_of(sheets: Sheets, defect: Mapping[str, Any]) -> str:
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


def what_is_new(clean: Read, damaged: Read) -> tuple[pl.DataFrame, dict[str, float]]:
    """Give the findings that the damage adds, and how far it moves the estimates."""
    new = damaged.checked.findings.join(
        clean.checked.findings, on=PLACE, how="anti", nulls_equal=True
    )
    moved = {f"change {name}": damaged.estimates[name] - clean.estimates[name]
             for name in EXPOSURES}  # fmt: skip
    return new, moved
