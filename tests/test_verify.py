"""verify says yes to an untouched study, and names each of five tampers."""

import shutil
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from tests.small_study import small_study


@pytest.fixture(scope="module")
def analysed(tmp_path_factory: pytest.TempPathFactory, call_sulca: Any) -> Path:
    folder = small_study(tmp_path_factory.mktemp("small") / "study")
    done = call_sulca("analyse", str(folder))
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def study(analysed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(analysed, tmp_path / "study"))


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_bytes().decode("utf-8")
    assert old in text
    path.write_bytes(text.replace(old, new, 1).encode("utf-8"))


def test_untouched_study_is_verified(study: Path, run_sulca: Any) -> None:
    """In another process than the one that analysed it."""
    done = run_sulca("verify", str(study))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "The rerun gives the same." in done.stdout


TAMPERS = {
    "an outcome cell": (
        "exports/north/rechecks.csv", "Clinic,N,stable", "Clinic,N,G2",
        "data: exports/north/rechecks.csv", "results.parquet: relux_hazard moved",
    ),
    "an unused column": (
        "exports/north/rechecks.csv", "NAD otherwise", "NAD at all",
        "data: exports/north/rechecks.csv", "No result moved.",
    ),
    "a mapping": (
        "mappings/north.toml", '"Wedge recession" = "wedge', '"Wedge recession" = "block',
        "mapping: mappings/north.toml", "results.parquet: relux_hazard moved",
    ),
    "the plan": (
        "study.toml", 'ties = "efron"', 'ties = "breslow"',
        "plan: study.toml", "results.parquet: relux_hazard moved",
    ),
}  # fmt: skip


@pytest.mark.parametrize("tamper", TAMPERS)
def test_edited_input_is_named_with_what_it_moved(
    study: Path, call_sulca: Any, tamper: str
) -> None:
    file, old, new, named, moved = TAMPERS[tamper]
    edit(study / file, old, new)
    done = call_sulca("verify", str(study))
    assert done.returncode == 1
    assert f"{named} was edited since the run" in done.stdout
    assert moved in done.stdout


def test_edited_number_in_the_results_is_named(study: Path, call_sulca: Any) -> None:
    path = study / "out" / "results.csv"
    results = pl.read_csv(path, infer_schema=False)
    place = results.with_row_index().filter(
        pl.col("measure") == "hazard_ratio", pl.col("estimate").is_not_null()
    )["index"][0]
    results[int(place), "estimate"] = "0.123456"
    results.write_csv(path)
    done = call_sulca("verify", str(study))
    assert done.returncode == 1
    assert "output: out/results.csv was edited since the run" in done.stdout
    assert "results.csv: relux_hazard moved in 1 rows" in done.stdout
    assert "0.123456" in done.stdout


def test_a_row_that_was_doubled_is_named(study: Path, call_sulca: Any) -> None:
    path = study / "out" / "results.csv"
    results = pl.read_csv(path, infer_schema=False)
    pl.concat([results, results.head(1)]).write_csv(path)
    done = call_sulca("verify", str(study))
    assert done.returncode == 1
    assert f"{results['row_id'][0]} stands more than once" in done.stdout


def test_a_shorter_run_of_the_same_inputs_leaves_the_results_verifiable(
    study: Path, call_sulca: Any
) -> None:
    assert call_sulca("check", str(study)).returncode == 0
    assert call_sulca("verify", str(study)).returncode == 0


def test_results_of_an_earlier_state_are_not_verified(study: Path, call_sulca: Any) -> None:
    edit(study / "exports/north/rechecks.csv", "NAD otherwise", "NAD at all")
    assert call_sulca("check", str(study)).returncode == 0
    done = call_sulca("verify", str(study))
    assert done.returncode == 2
    assert 'the last run ended with "check"' in done.stderr
