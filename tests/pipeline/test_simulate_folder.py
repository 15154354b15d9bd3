"""An invented study of any size is a study folder like any other."""

from pathlib import Path

import polars as pl
import pytest

from pipeline.intake.study_intake import read_study as read_exports
from pipeline.simulate.effects import Effects
from pipeline.simulate.folder import simulate_folder
from pipeline.study import read_study
from schemas.codebook import read_codebook
from shared.errors import InputFileError


def test_an_invented_study_can_be_read_as_a_study(tmp_path: Path) -> None:
    folder = tmp_path / "invented"
    written = simulate_folder(folder, seed=7, n_stifles=150)
    names = {path.relative_to(folder).as_posix() for path in written}
    assert {"study.toml", "truth.csv", "defects.csv", "mappings/lake.toml"} <= names
    assert read_study(folder).analyses
    stifles = read_exports(folder, read_codebook()).tables["stifles"]
    assert 150 <= stifles.height <= 160  # copies, test records and the side that is missing


def test_other_effects_have_a_truth_of_their_own(tmp_path: Path) -> None:
    strong = Effects(block_on_reluxation=-1.5)
    simulate_folder(tmp_path / "strong", seed=1, n_stifles=60, effects=strong, truth_stifles=20_000)
    truth = pl.read_csv(tmp_path / "strong" / "truth.csv")
    found = truth.filter(question="relux", measure="log_hazard_ratio")["estimate"].item()
    assert -1.7 < found < -1.2


def test_a_folder_with_something_in_it_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(InputFileError, match="holds something else"):
        simulate_folder(tmp_path, seed=1, n_stifles=60)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
