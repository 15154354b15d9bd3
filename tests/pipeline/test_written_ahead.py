"""The texts behind every row are kept as the exports have them, and why cells are empty."""

import csv
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.run import Run, run_study
from shared.errors import NobodyLeftError
from shared.files import as_text
from tests.small_study import small_study


def _run(folder: Path, until: str) -> Run:
    return run_study(folder, until=until, on_step=lambda _step: None)


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return _run(small_study(tmp_path_factory.mktemp("received") / "study"), "check")


def _received(folder: Path, table: str) -> pl.DataFrame:
    return pl.read_parquet(folder / "out" / "received" / f"{table}.parquet")


def test_every_row_an_export_made_is_there_whatever_became_of_it(done: Run) -> None:
    mapped = done.corrected.mapped.tables
    kept = {table: _received(done.study.folder, table) for table in mapped}
    assert {table: rows.height for table, rows in kept.items()} == {
        table: rows.height for table, rows in mapped.items()
    }
    for table, rows in kept.items():
        accepted = done.checked.tables[table].filter(~pl.col("derived"))["row_id"]
        assert set(accepted) <= set(rows["row_id"])
    assert done.checked.stopped.height > 0
    every = {name for rows in kept.values() for name in rows["row_id"]}
    assert set(done.checked.stopped["row_id"]) <= every


def test_a_text_is_that_of_the_cell_its_address_names(done: Run) -> None:
    export = done.study.folder / "exports" / "north" / "rechecks.csv"
    with export.open(encoding="utf-8-sig", newline="") as lines:
        cells = dict(enumerate(csv.DictReader(lines), start=2))
    kept = _received(done.study.folder, "rechecks").filter(file="rechecks.csv")
    assert kept.height > 400
    columns = {
        "recheck_day": "Visit date",
        "recheck_mode": "Seen by",
        "lameness_score": "Lameness (0-5)",
    }
    for row, *texts in kept.select("row", *columns).iter_rows():
        assert texts == [cells[row][column] or None for column in columns.values()]


def test_dates_of_birth_are_not_kept(done: Run) -> None:
    export = done.study.folder / "exports" / "north" / "stifles.csv"
    with export.open(encoding="utf-8-sig", newline="") as lines:
        born = {row["Date of birth"] for row in csv.DictReader(lines)} - {""}
    assert len(born) > 100
    animals = _received(done.study.folder, "animals")
    texts = animals.select(pl.exclude("row")).unpivot()["value"].drop_nulls()
    assert "Toy Poodle" in texts
    assert not born & set(texts)


def test_what_is_missing_is_told_as_the_checks_knew_it(done: Run) -> None:
    written = pl.read_parquet(done.study.folder / "out" / "tables" / "missing.parquet")
    assert written.height > 1000
    assert_frame_equal(written, as_text(done.checked.missing))


def test_a_run_that_is_refused_leaves_them_as_they_were(tmp_path: Path) -> None:
    folder = small_study(tmp_path / "study")
    plan = folder / "study.toml"
    narrow = plan.read_text("utf-8").replace("[2, 3, 4]", "[4]\naccrual_start = 2030-01-01")
    plan.write_text(narrow, "utf-8")
    with pytest.raises(NobodyLeftError):
        _run(folder, "cohort")
    assert sorted(path.name for path in folder.iterdir()) == ["exports", "mappings", "study.toml"]
