"""The reading process and its limits; a file must be the same before and after it is read."""

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.intake import walls
from pipeline.intake.limits import Limits
from pipeline.intake.mapping import SourceFile
from pipeline.intake.read import read_file
from pipeline.intake.received import received
from pipeline.intake.sheet import Sheet
from pipeline.intake.walls import read_behind_walls
from shared.errors import InputFileError
from tests.pipeline.intake.spreadsheets import row, xlsx, zipped

LARGE = "".join(row(number, *"abcdefgh") for number in range(1, 12_001))
ON_LINUX = pytest.mark.skipif(sys.platform != "linux", reason="held by the system on Linux only")
# A reader that has set its limits of one second, and then does as it likes.
LIMITED = (
    "import sys; sys.path.insert(0, {root!r}); from pipeline.intake.child import set_limits; "
    "from pipeline.intake.limits import Limits; set_limits(Limits(cpu_seconds=1))"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("walls")
    (folder / "large.xlsx").write_bytes(xlsx(LARGE))
    (folder / "small.xlsx").write_bytes(xlsx(row(1, "Case") + row(2, "A1")))
    (folder / "text.zip").write_bytes(zipped({"a.csv": "Case\n" + "x" * 3_000_000 + "\n"}))
    return folder


def read_limited(folder: Path, name: str, limits: Limits, member: str = "") -> Sheet:
    kind = "text" if member else "xlsx"
    source = SourceFile(name="a", path=name, format=kind, member=member)
    return read_file(folder, source, limits=limits)


def refusal(folder: Path, name: str, limits: Limits, member: str = "") -> str:
    with pytest.raises(InputFileError) as error:
        read_limited(folder, name, limits, member)
    return str(error.value)


def test_the_limits_of_every_day_let_a_workbook_through(folder: Path) -> None:
    assert read_limited(folder, "large.xlsx", Limits()).rows.height == 11_999


@ON_LINUX
def test_a_file_that_takes_too_much_memory_is_refused(folder: Path) -> None:
    said = refusal(folder, "large.xlsx", Limits(memory_mb=24))
    assert "large.xlsx: reading it took more than 24 MB of memory" in said
    assert "smaller export" in said


@ON_LINUX
def test_a_file_that_takes_too_much_computing_is_refused(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(walls, "START", LIMITED + "\nwhile True: pass")
    said = refusal(folder, "small.xlsx", Limits(cpu_seconds=1))
    assert "more than 1 seconds of computing" in said


def test_a_file_that_takes_too_long_is_refused_at_once(folder: Path) -> None:
    started = time.perf_counter()
    said = refusal(folder, "large.xlsx", Limits(wall_seconds=0.02))
    assert "longer than 0.02 seconds" in said
    assert time.perf_counter() - started < 10


def test_a_file_that_unfolds_to_too_much_is_refused(folder: Path) -> None:
    assert "more than 2 MB of text" in refusal(folder, "text.zip", Limits(answer_mb=2), "a.csv")


def test_a_reader_that_dies_is_one_sentence(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(walls, "START", "import os, signal; os.kill(os.getpid(), signal.SIGABRT)")
    said = refusal(folder, "small.xlsx", Limits())
    assert "small.xlsx: reading it ended the reading program (" in said
    assert capfd.readouterr() == ("", "")


def test_a_reader_that_says_nonsense_or_fails_is_one_sentence(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    for start in ("print('Owner-7731')", "raise ValueError('Owner-7731')"):
        monkeypatch.setattr(walls, "START", start)
        said = refusal(folder, "small.xlsx", Limits())
        assert "ended the reading program" in said
        assert "Owner" not in said
    assert capfd.readouterr() == ("", "")


def test_code_beside_the_files_is_never_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither the folder of the user nor his Python settings add modules to the reader."""
    for name in ("json", "zipfile", "sitecustomize"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit(3)", "utf-8")
    (tmp_path / "small.xlsx").write_bytes(xlsx(row(1, "Case") + row(2, "A1")))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.setenv("PYTHONSTARTUP", str(tmp_path / "json.py"))
    assert read_limited(tmp_path, "small.xlsx", Limits()).rows.rows() == [(2, "A1")]


@ON_LINUX
def test_the_reader_can_write_no_file(folder: Path, tmp_path: Path) -> None:
    """Its limits are set before it reads; a file it writes would stay empty or not be there."""
    target = tmp_path / "written"
    code = LIMITED + f"\nopen({str(target)!r}, 'w').write('x' * 10)"
    with pytest.MonkeyPatch.context() as patch, (folder / "small.xlsx").open("rb") as handle:
        patch.setattr(walls, "START", code)
        with pytest.raises(InputFileError, match="ended the reading program"):
            read_behind_walls(handle, {"where": "x", "format": "xlsx"}, Limits())
    assert target.read_bytes() == b""


@pytest.fixture
def changing(tmp_path: Path) -> Path:
    (tmp_path / "a.csv").write_text("Case\nA1\n", "utf-8")
    return tmp_path


def _grow(path: Path) -> None:
    path.write_text("Case\nA1\nA2\n", "utf-8")


def _alter_in_secret(path: Path) -> None:
    found = path.stat()
    path.write_text("Case\nB1\n", "utf-8")
    os.utime(path, ns=(found.st_atime_ns, found.st_mtime_ns))


def _replace(path: Path) -> None:
    path.with_suffix(".new").write_text("Case\nA1\n", "utf-8")
    path.with_suffix(".new").replace(path)


@pytest.mark.parametrize("change", [_grow, _alter_in_secret, _replace, Path.unlink])
def test_a_file_that_changes_while_it_is_read_is_refused(
    changing: Path, change: Callable[[Path], None]
) -> None:
    with (
        pytest.raises(InputFileError, match="changed while it was read"),
        received(changing, "a.csv"),
    ):
        change(changing / "a.csv")


def test_a_file_that_stays_is_read(changing: Path) -> None:
    with received(changing, "a.csv") as (path, handle):
        assert path == changing / "a.csv"
        assert handle.read() == b"Case\nA1\n"


def test_a_text_file_above_its_limit_is_refused(changing: Path) -> None:
    source = SourceFile(name="a", path="a.csv")
    with pytest.raises(InputFileError, match="larger than 0 MB"):
        read_file(changing, source, limits=Limits(text_mb=0))
    assert read_file(changing, source).rows.height == 1
