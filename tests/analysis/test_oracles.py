"""Committed values of R: made by the script and from the inputs that stand here now."""

import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.analysis.r_values import ORACLES, read_values

SCRIPTS = sorted(path.stem for path in ORACLES.glob("*.R"))
SLOW = ("survival_firth",)  # half a minute: run by `make oracles` only


def head(name: str) -> list[list[str]]:
    lines = (ORACLES / f"{name}.csv").read_text("utf-8").splitlines()
    return [line.removeprefix("# ").split() for line in lines if line.startswith("#")]


def missing_packages(name: str) -> str:
    """What the script's run needs and this machine lacks; empty where all is there."""
    if shutil.which("Rscript") is None:
        return "R"
    needed = [line[1] for line in head(name) if line[0] == "package"]
    lacking = [
        package for package in needed
        if subprocess.run(["Rscript", "-e", f"library({package})"], capture_output=True,
                          check=False).returncode
    ]  # fmt: skip
    return ", ".join(lacking)


@pytest.mark.parametrize("name", SCRIPTS)
def test_values_were_made_from_these_inputs_by_this_script(name: str) -> None:
    made_from = [line for line in head(name) if line[0] in ("script", "input")]
    assert [kind for kind, *_ in made_from].count("script") == 1
    assert len(made_from) >= 2
    for _, path, _, fingerprint in made_from:
        data = (ORACLES / path).read_bytes()
        assert hashlib.md5(data, usedforsecurity=False).hexdigest() == fingerprint, path


def test_every_input_is_read_by_a_script_or_made_by_one() -> None:
    inputs = {Path(line[1]).name for name in SCRIPTS for line in head(name) if line[0] == "input"}
    outputs = {f"{name}.csv" for name in SCRIPTS}
    assert {path.name for path in ORACLES.glob("*.csv")} <= inputs | outputs


@pytest.mark.parametrize("name", [name for name in SCRIPTS if name not in SLOW])
def test_r_gives_the_same_values_again(name: str, tmp_path: Path) -> None:
    lacking = missing_packages(name)
    if lacking:
        pytest.skip(f"not installed here: {lacking}")
    made = tmp_path / "again.csv"
    subprocess.run(
        ["Rscript", "--vanilla", f"{name}.R", str(made)],
        cwd=ORACLES, check=True, capture_output=True,
    )  # fmt: skip
    again, kept = read_values(made), read_values(ORACLES / f"{name}.csv")
    assert again.keys() == kept.keys()
    for key, value in kept.items():
        assert again[key] == pytest.approx(value, rel=1e-7, abs=1e-9), key
