"""Rerun a study from its inputs in a scratch folder, and name every difference."""

import json
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.analyses.curves import CURVE_KEY
from pipeline.compare_tables import Moved, compare_tables
from pipeline.manifest import (
    INPUTS,
    STAGES,
    code_fingerprint,
    fingerprints,
    output_fingerprints,
    platform_name,
    read_manifest,
    study_inputs,
    versions,
)
from pipeline.run import run_study
from pipeline.summary import Summary
from shared.errors import InputFileError
from shared.estimate import RESULT_SCHEMA

KINDS: Mapping[str, str] = {
    "exports": "data",
    "mappings": "mapping",
    "study.toml": "plan",
    "corrections.csv": "corrections",
    "codebook": "codebook",
}
OTHER_PLATFORM_TOLERANCE = 1e-8  # relative; the last digits of linear algebra differ by machine
SHOWN = 12  # names of files in one line


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Whether a rerun gave the same, what changed since the run, and which results moved."""

    same: bool
    changed: tuple[str, ...]
    moved: tuple[Moved, ...]
    summary: Summary


def verify(folder: Path, *, on_step: Callable[[str], None]) -> Verdict:
    """Rerun the study of a folder and compare inputs, results, curves, flow and files.

    Raises
    ------
    InputFileError
        If the study was never run, so that there is nothing to compare with.
    """
    out = folder / "out"
    manifest = read_manifest(out)
    if manifest is None or not (out / "results.parquet").exists():
        raise InputFileError(
            str(out), "there is no earlier run to compare with", do=f"Run: sulca run {folder}"
        )
    until = manifest.get("until", "report")
    if STAGES.index(until) < STAGES.index("analyse"):
        raise InputFileError(
            str(out / "run.json"),
            f'the last run ended with "{until}", so that the results are those of an earlier state',
            do=f"Run: sulca run {folder}",
        )
    with tempfile.TemporaryDirectory(prefix="sulca-verify-") as scratch:
        again = Path(scratch) / "study"
        _copy_inputs(folder, again, manifest)
        run_study(again, until=until, on_step=on_step)
        same_platform = manifest.get("platform") == platform_name()
        moved = _moved(out, again / "out", 0.0 if same_platform else OTHER_PLATFORM_TOLERANCE)
        changed = _changed_since(folder, manifest)
        files = _different_files(out, again / "out") if same_platform else ()
    return _verdict(changed, moved, files, compared=_rows(out / "results.parquet"))


def _copy_inputs(folder: Path, again: Path, manifest: Mapping[str, Any]) -> None:
    again.mkdir(parents=True)
    for name in INPUTS:
        source = folder / name
        if source.is_dir():
            shutil.copytree(source, again / name)
        elif source.exists():
            shutil.copy(source, again / name)
    (again / "out").mkdir()
    last_round = folder / "out" / "queries" / "last_round"
    if last_round.is_dir():
        shutil.copytree(last_round, again / "out" / "queries" / "last_round")
    # Deviations are told against the plan of the first analysis, which only run.json knows.
    kept = {"first_analysis": manifest.get("first_analysis")}
    (again / "out" / "run.json").write_text(json.dumps(kept), encoding="utf-8")


def _moved(before: Path, after: Path, tolerance: float) -> tuple[Moved, ...]:
    fresh = pl.read_parquet(after / "results.parquet")
    found = list(compare_tables("results.parquet", pl.read_parquet(before / "results.parquet"),
                                fresh, tolerance=tolerance))  # fmt: skip
    stored_csv = before / "results.csv"
    if stored_csv.exists():
        text = pl.read_csv(stored_csv, infer_schema=False)
        rewritten = pl.read_csv(after / "results.csv", infer_schema=False)
        found += compare_tables("results.csv", _typed(text), _typed(rewritten), tolerance=tolerance)
    if (before / "curves.parquet").exists():
        found += compare_tables("curves.parquet", keyed_curves(before), keyed_curves(after),
                                tolerance=tolerance)  # fmt: skip
    if _flow(before) != _flow(after):
        found.append(Moved(table="flow.json", row_id="", column="", before="", after="differs"))
    return tuple(found)


def _typed(frame: pl.DataFrame) -> pl.DataFrame:
    """Read a results table's text back as numbers; text that is none stays as it is."""
    numbers = [name for name, dtype in RESULT_SCHEMA.items() if dtype != pl.String]
    try:
        return frame.with_columns(pl.col(name).cast(RESULT_SCHEMA[name]) for name in numbers)
    except (pl.exceptions.InvalidOperationError, pl.exceptions.ColumnNotFoundError):
        return frame


def keyed_curves(out: Path) -> pl.DataFrame:
    """Read the points of all curves, each with a `row_id` made of what names it."""
    curves = pl.read_parquet(out / "curves.parquet")
    key = [pl.col(name).cast(pl.String).fill_null("")
           for name in CURVE_KEY if name in curves.columns]  # fmt: skip
    return curves.with_columns(row_id=pl.concat_str(key, separator="/"))


def _flow(out: Path) -> str:
    path = out / "flow.json"
    return path.read_text("utf-8") if path.exists() else ""


def _changed_since(folder: Path, manifest: Mapping[str, Any]) -> tuple[str, ...]:
    now = fingerprints(folder, study_inputs(folder))
    before: Mapping[str, str] = manifest.get("inputs", {})
    said = [f"{_kind(name)}: {name} {_what(name, before, now)}"
            for name in sorted({*before, *now}) if before.get(name) != now.get(name)]  # fmt: skip
    if manifest.get("code") != code_fingerprint():
        said.append("code: the program is not the one that made the run")
    old, new = manifest.get("versions", {}), versions()
    said += [f"library: {name} was {old.get(name, 'absent')}, is {new.get(name, 'absent')}"
             for name in sorted({*old, *new}) if old.get(name) != new.get(name)]  # fmt: skip
    outputs: Mapping[str, str] = manifest.get("outputs", {})
    present = output_fingerprints(folder / "out")
    said += [f"output: out/{name} {_what(name, outputs, present)}"
             for name in sorted(outputs) if outputs[name] != present.get(name)]  # fmt: skip
    return tuple(said)


def _kind(name: str) -> str:
    return KINDS[name.split("/")[0]]


def _what(name: str, before: Mapping[str, str], now: Mapping[str, str]) -> str:
    if name not in before:
        return "is new since the run"
    return "was edited since the run" if name in now else "is gone since the run"


def _different_files(before: Path, after: Path) -> tuple[str, ...]:
    old, new = output_fingerprints(before), output_fingerprints(after)
    return tuple(name for name in sorted({*old, *new}) if old.get(name) != new.get(name))


def _rows(path: Path) -> int:
    return pl.scan_parquet(path).select(pl.len()).collect().item()


def _verdict(
    changed: tuple[str, ...], moved: tuple[Moved, ...], files: tuple[str, ...], *, compared: int
) -> Verdict:
    same = not (changed or moved or files)
    moved_ids = {item.row_id for item in moved if item.table.startswith("results")}
    remarks = list(changed)
    if changed and not moved:
        remarks.append("No result moved.")
    remarks += _which_moved(moved)
    if files and not moved:
        remarks.append("Files that a rerun writes differently: " + ", ".join(files[:SHOWN]))
    done = "The rerun gives the same." if same else "The rerun does not agree with the run."
    counts: dict[str, int | str] = {
        "results rows compared": compared,
        "results rows that moved": len(moved_ids),
        "inputs, code, libraries or outputs changed": len(changed),
        "files that differ": len(files),
    }
    summary = Summary(done=done, counts=counts, remarks=tuple(remarks))
    return Verdict(same=same, changed=changed, moved=moved, summary=summary)


def _which_moved(moved: tuple[Moved, ...]) -> list[str]:
    """Name each analysis that moved with its rows, and its first differences in estimates."""
    cells: dict[tuple[str, str], list[Moved]] = {}
    for item in moved:
        cells.setdefault((item.table, item.row_id.split("/")[0]), []).append(item)
    said: list[str] = []
    for (table, analysis), items in cells.items():
        rows = len({item.row_id for item in items})
        first = next((item for item in items if item.column == "estimate"), items[0])
        said.append(f"{table}: {analysis} moved in {rows} rows, for example {first.where}")
    return said
