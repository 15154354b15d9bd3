"""Bad input for tests: an edit, what a command must say of it, and how it is asserted."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.manifest import fingerprints

Edit = Callable[[Path], None]


def swap(file: str, old: str, new: str) -> Edit:
    def edit(folder: Path) -> None:
        text = (folder / file).read_bytes().decode("utf-8")
        assert old in text, f"{old} is not in {file}"
        (folder / file).write_bytes(text.replace(old, new, 1).encode("utf-8"))

    return edit


def holds(file: str, content: bytes | str) -> Edit:
    def edit(folder: Path) -> None:
        (folder / file).parent.mkdir(exist_ok=True)
        (folder / file).write_bytes(content.encode() if isinstance(content, str) else content)

    return edit


def kept(file: str, keep: Callable[[bytes], bytes]) -> Edit:
    return lambda folder: holds(file, keep((folder / file).read_bytes()))(folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bad:
    """An edit of a good study, and what the command must say of it: where, what, what to do."""

    edit: Edit
    where: str
    what: str
    do: str
    command: str = "check"
    exit_code: int = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """How a command ended, and whether the outputs of earlier runs are as they were."""

    exit_code: int
    printed: str
    lines: list[str]
    untouched: bool


def outputs(out: Path) -> dict[str, str]:
    """Every file of a folder with its fingerprint, run.json and the database too."""
    found = sorted(path.relative_to(out) for path in out.rglob("*") if path.is_file())
    return fingerprints(out, found)


def told(call_sulca: Any, arguments: list[str], out: Path) -> Told:
    before = outputs(out)
    assert before
    done = call_sulca(*arguments, "--quiet")
    return Told(exit_code=done.returncode, printed=done.stdout,
                lines=done.stderr.splitlines(), untouched=outputs(out) == before)  # fmt: skip


def assert_one_message(found: Told, bad: Bad) -> None:
    assert found.exit_code == bad.exit_code, found.lines
    assert len(found.lines) == 2, found.lines
    first, second = found.lines
    assert bad.where in first
    assert bad.what in first
    assert bad.do in second
    assert "defect" not in first
    assert not found.printed
    assert found.untouched
