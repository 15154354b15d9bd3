"""The demo study, run once for all tests that look at it whole."""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

Command = Callable[..., "subprocess.CompletedProcess[str]"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRun:
    """A demo study that was run from the command line, and what it printed."""

    folder: Path
    printed: str
    errors: str
    exit_code: int

    @property
    def out(self) -> Path:
        return self.folder / "out"


def sulca(*arguments: str, env: dict[str, str] | None = None) -> "subprocess.CompletedProcess[str]":
    """Run the command as a user does, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", "from pipeline.cli import main; main()", *arguments],
        capture_output=True, text=True, encoding="utf-8", check=False,
        env={**os.environ, "PYTHONUTF8": "1", **(env or {})},
    )  # fmt: skip


@pytest.fixture(scope="session")
def run_sulca() -> Command:
    """Give the command line as a function of its arguments."""
    return sulca


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> DemoRun:
    """Run `sulca demo` once."""
    folder = tmp_path_factory.mktemp("demo") / "demo-study"
    done = sulca("demo", str(folder))
    return DemoRun(
        folder=folder, printed=done.stdout, errors=done.stderr, exit_code=done.returncode
    )
