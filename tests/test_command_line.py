"""The command line: quick help, clear messages, exit codes, no traceback."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

HEAVY = ("polars", "numpy", "pandas", "duckdb", "matplotlib", "scipy", "statsmodels", "lifelines")


def test_help_imports_nothing_heavy() -> None:
    """`sulca --help` answers at once because only the command line itself is imported."""
    code = f"import pipeline.cli, sys; print([n for n in {HEAVY!r} if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    "command",
    ["demo", "new", "run", "check", "cohort", "analyse", "compare", "report", "fit", "verify",
     "simulate", "contract", "mask", "map", "answers", "trace", "size hazard-ratio", "size risks",
     "size prediction"],
)  # fmt: skip
def test_every_command_has_help_with_an_example(call_sulca: Any, command: str) -> None:
    done = call_sulca(*command.split(), "--help")
    assert done.returncode == 0
    assert f"Example: sulca {command}" in " ".join(done.stdout.split())


def broken_study(folder: Path, *, what: str) -> Path:
    """A study with one thing wrong."""
    study = folder / "study"
    (study / "exports").mkdir(parents=True)
    texts = {
        "no study file": None,
        "not TOML": "title = ",
        "unknown key": 'title = "T"\nquestoin = "?"\n',
        "no title": 'question = "?"\n',
    }
    text = texts[what]
    if text is not None:
        (study / "study.toml").write_text(text)
    return study


@pytest.mark.parametrize(
    ("what", "says"),
    [
        ("no study file", "there is no such file"),
        ("not TOML", "no valid TOML"),
        ("unknown key", 'Did you mean "question"?'),
        ("no title", "no title"),
    ],
)
def test_a_broken_study_file_gets_one_clear_message(
    call_sulca: Any, tmp_path: Path, what: str, says: str
) -> None:
    done = call_sulca("run", str(broken_study(tmp_path, what=what)))
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "study" / "out").exists()


def test_fit_names_a_missing_table(run_sulca: Any, tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text('[[analysis]]\nid = "a"\nmodel = "cox"\ntime = "t"\nevent = "e"\n')
    done = run_sulca("fit", "--table", str(tmp_path / "no.csv"), "--plan", str(plan),
                     "--out", str(tmp_path / "out"))  # fmt: skip
    assert done.returncode == 2
    assert "no.csv" in done.stderr
    assert "Traceback" not in done.stderr


def test_verify_without_a_run_says_so(run_sulca: Any, tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text('title = "T"\n')
    done = run_sulca("verify", str(tmp_path))
    assert done.returncode == 2
    assert "no earlier run" in done.stderr
