"""R scripts of a plan give our numbers again, with R and its package survival only."""

import shutil
import subprocess
from pathlib import Path

import polars as pl
import pytest

from pipeline.analyse import analyse
from pipeline.plan import parse_analyses
from pipeline.refit import refit_scripts
from shared.files import write_csv

WITHOUT_R = "no Rscript on this machine: the scripts are written but not run"


@pytest.fixture
def study_with_scripts(tmp_path: Path, invented_cohort: pl.DataFrame, small_study) -> list[Path]:  # noqa: ANN001
    done = analyse(invented_cohort, small_study)
    write_csv(tmp_path / "cohort.csv", invented_cohort)
    write_csv(tmp_path / "results.csv", done.results)
    return refit_scripts(parse_analyses(list(small_study.analyses)), tmp_path / "refit")


def run(script: Path) -> subprocess.CompletedProcess[str]:
    rscript = shutil.which("Rscript")
    assert rscript is not None
    return subprocess.run(
        [rscript, script.name], cwd=script.parent, capture_output=True, text=True, check=False
    )


def test_one_script_a_model(study_with_scripts: list[Path]) -> None:
    assert [path.name for path in study_with_scripts] == ["risk.R", "hazard.R", "year.R"]
    assert "Lin" not in study_with_scripts[0].read_text()
    assert 'exposure = "sulcoplasty_type"' in study_with_scripts[1].read_text()


@pytest.mark.skipif(shutil.which("Rscript") is None, reason=WITHOUT_R)
def test_r_gives_the_same_six_figures(study_with_scripts: list[Path]) -> None:
    for script in study_with_scripts:
        done = run(script)
        assert done.returncode == 0, done.stdout + done.stderr
        assert done.stdout.count("same") > 4
        assert "DIFFERS" not in done.stdout


@pytest.mark.skipif(shutil.which("Rscript") is None, reason=WITHOUT_R)
def test_a_changed_number_is_noticed(study_with_scripts: list[Path]) -> None:
    script = study_with_scripts[1]
    path = script.parent.parent / "results.csv"
    results = pl.read_csv(path, infer_schema=False)
    changed = pl.when(pl.col("measure") == "coefficient").then(
        (pl.col("estimate").cast(pl.Float64) * 1.0001).cast(pl.String)
    )
    results.with_columns(changed.otherwise("estimate").alias("estimate")).write_csv(path)
    done = run(script)
    assert done.returncode == 1
    assert "DIFFERS" in done.stdout
