"""R scripts of a plan give our numbers again, with R and its package survival only."""

import shutil
import subprocess
from pathlib import Path

import polars as pl
import pytest

from pipeline.analyse import Analysed
from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analyses, parse_analysis
from pipeline.refit import refit_scripts
from pipeline.study import Study
from shared.estimate import results_frame
from shared.files import write_csv

KIDNEY = Path(__file__).parents[3] / "shared" / "published" / "kidney.csv"
WITHOUT_R = "no Rscript on this machine: the scripts are written but not run"


@pytest.fixture(scope="module")
def scripts(
    tmp_path_factory: pytest.TempPathFactory,
    invented_cohort: pl.DataFrame,
    small_study: Study,
    analysed: Analysed,
) -> list[Path]:
    out = tmp_path_factory.mktemp("out")
    write_csv(out / "cohort.csv", invented_cohort)
    write_csv(out / "results.csv", analysed.results)
    return refit_scripts(parse_analyses(small_study.analyses), out / "refit")


def run(script: Path) -> subprocess.CompletedProcess[str]:
    rscript = shutil.which("Rscript")
    assert rscript is not None
    return subprocess.run(
        [rscript, script.name], cwd=script.parent, capture_output=True, text=True, check=False
    )


def test_one_script_a_model(scripts: list[Path]) -> None:
    assert [path.name for path in scripts] == ["risk.R", "hazard.R", "year.R"]
    assert 'exposure = "sulcoplasty_type"' in scripts[1].read_text()


@pytest.mark.skipif(shutil.which("Rscript") is None, reason=WITHOUT_R)
def test_r_gives_the_same_six_figures(scripts: list[Path]) -> None:
    for script in scripts:
        done = run(script)
        assert done.returncode == 0, done.stdout + done.stderr
        assert done.stdout.count("same") > 4
        assert "DIFFERS" not in done.stdout


@pytest.mark.skipif(shutil.which("Rscript") is None, reason=WITHOUT_R)
def test_a_changed_number_is_noticed(scripts: list[Path], tmp_path: Path) -> None:
    shutil.copytree(scripts[1].parent.parent, tmp_path / "out")
    script = tmp_path / "out" / "refit" / scripts[1].name
    path = tmp_path / "out" / "results.csv"
    results = pl.read_csv(path, infer_schema=False)
    changed = pl.when(pl.col("measure") == "coefficient").then(
        (pl.col("estimate").cast(pl.Float64) * 1.0001).cast(pl.String)
    )
    results.with_columns(changed.otherwise("estimate").alias("estimate")).write_csv(path)
    done = run(script)
    assert done.returncode == 1
    assert "DIFFERS" in done.stdout


def test_errors_that_the_script_does_not_know_have_no_script(tmp_path: Path) -> None:
    plan = {"id": "few", "model": "logistic", "outcome": "low", "adjust_for": ["age"],
            "cluster": "clinic_id", "estimator": "maximum_likelihood"}  # fmt: skip
    usual, reduced = parse_analysis(plan), parse_analysis({**plan, "variance": "CR2"})
    assert len(refit_scripts([usual], tmp_path)) == 1
    assert not refit_scripts([reduced], tmp_path)


FRAILTY = {
    "id": "within", "model": "frailty", "time": "day", "event": "status",
    "adjust_for": ["age", "sex"], "categorical": {"sex": "1"}, "random_intercept": "id",
}  # fmt: skip


@pytest.mark.skipif(shutil.which("Rscript") is None, reason=WITHOUT_R)
def test_a_frailty_has_the_same_terms_at_its_variance(tmp_path: Path) -> None:
    kidney = pl.read_csv(KIDNEY).rename({"time": "day"}).cast({"sex": pl.String})
    analysis = parse_analysis(FRAILTY)
    write_csv(tmp_path / "cohort.csv", kidney)
    write_csv(tmp_path / "results.csv", results_frame(run_analysis(kidney, analysis).rows))
    (script,) = refit_scripts([analysis], tmp_path / "refit")
    done = run(script)
    assert done.returncode == 0, done.stdout + done.stderr
    assert (done.stdout.count("same"), done.stdout.count("near")) == (3, 1)
