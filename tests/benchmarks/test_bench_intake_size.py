# ruff: noqa: T201 - a benchmark prints
"""A million stifles from file to checked Parquet, beside DuckDB's own reading of the same files.

DuckDB reads every cell as text and writes Parquet; sulca besides that screens, maps, keeps raw
text and addresses, judges every rule and passes the gate. Both run in turn; the least of each
counts, as a machine is now and then slower by a quarter. Prints ratios; asserts conservation.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest

import shared
from pipeline.check import check
from pipeline.intake.study_intake import read_clinic
from pipeline.process import MEMORY_KEPT, ONE_THREAD
from schemas.codebook import read_codebook
from tests.benchmarks.big_export import VISITS, big_export

DEMO = Path(shared.__file__).parent / "demo"
FAILING = 50_000
RUNS = 3


@pytest.fixture(scope="module")
def asked() -> pl.DataFrame:
    """What the demo's northern clinic is asked: rows that a clean export must not repeat."""
    codebook = read_codebook()
    return check(read_clinic(DEMO, "north", codebook), codebook).findings


@pytest.mark.parametrize("stifles", [100_000, 1_000_000])
def test_intake_beside_plain_reading(stifles: int, tmp_path: Path, asked: pl.DataFrame) -> None:
    taken: dict[str, dict[str, Any]] = {}
    for name, failing in (("clean", 0), ("failing", FAILING * stifles // 1_000_000)):
        study = tmp_path / name
        size = big_export(DEMO / "exports" / "north", study / "exports" / "north",
                          stifles=stifles, failing=failing, asked=asked)  # fmt: skip
        (study / "mappings").mkdir()
        (study / "mappings" / "north.toml").write_text(mapping(), "utf-8")
        runs = [(plain_reading(study / "exports" / "north", tmp_path), in_own_process(study))
                for _ in range(RUNS)]  # fmt: skip
        duck = min(plain[0] for plain, _ in runs), min(plain[1] for plain, _ in runs)
        taken[name] = min((ours for _, ours in runs), key=lambda ours: ours["all"])
        assert_nothing_lost(taken[name], stifles)
        report(name, taken[name], duck=duck, size=size, stifles=stifles)
    found = [sum(taken[name]["findings"].get(rule, 0) for rule in ("M01", "M02")) for name in taken]
    assert found == [0, FAILING * stifles // 1_000_000]
    ratio, cpu = (taken["failing"][name] / taken["clean"][name] for name in ("all", "cpu"))
    print(f"  failing cells against clean: {ratio:.2f} times, CPU {cpu:.2f} times")


def mapping() -> str:
    """Give the clinic's mapping, with the link token that the design asks of a large network."""
    text = (DEMO / "mappings" / "north.toml").read_text("utf-8")
    return text.replace("[table.columns]\n", '[table.columns]\nlink_token = "Token"\n', 1)


def plain_reading(folder: Path, out: Path) -> tuple[float, float]:
    """Seconds, by the clock and of CPU, in which DuckDB writes the files' text as Parquet."""
    start, begun = time.perf_counter(), time.process_time()
    with duckdb.connect() as database:
        for path in (folder / "stifles.csv", folder / "rechecks.csv"):
            target = out / f"{path.stem}.parquet"
            database.sql(
                f"COPY (SELECT * FROM read_csv('{path}', all_varchar = true, header = true))"
                f" TO '{target}' (FORMAT parquet)"
            )
    return time.perf_counter() - start, time.process_time() - begun


def in_own_process(study: Path) -> dict[str, Any]:
    """Run the stages in a process that was told what the command line is told."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.intake_run", str(study)],
        cwd=Path(__file__).parents[2], check=True, capture_output=True, text=True,
        env={"_RJEM_MALLOC_CONF": MEMORY_KEPT, **os.environ, **ONE_THREAD},
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1])


def assert_nothing_lost(taken: dict[str, Any], stifles: int) -> None:
    """Every source row has one fate, and no row without a reason is missing."""
    for file in taken["ledger"]:
        assert file["source_rows"] == file["mapped"] + file["set_aside"] + file["unreadable"]
    read = {file["file"]: file["source_rows"] for file in taken["ledger"]}
    assert read["stifles.csv"] == taken["stifles"] == stifles
    assert read["rechecks.csv"] == taken["rechecks"] == VISITS * stifles


def report(
    name: str, taken: dict[str, Any], *, duck: tuple[float, float], size: int, stifles: int
) -> None:
    stages = ", ".join(
        f"{stage} {taken[stage]:.2f} s" for stage in ("read and map", "check", "write")
    )
    print(f"\nintake, {stifles:,} stifles, {VISITS * stifles:,} rechecks, {size / 1e6:.0f} MB")
    print(f"  {name}: {taken['all']:.2f} s ({stages}), peak {taken['peak_gib']:.2f} GiB")
    print(
        f"  DuckDB text to Parquet {duck[0]:.2f} s: {taken['all'] / duck[0]:.2f} times;"
        f" CPU {duck[1]:.2f} s and {taken['cpu']:.2f} s: {taken['cpu'] / duck[1]:.2f} times"
    )
    print(f"  findings by rule: {taken['findings']}")
