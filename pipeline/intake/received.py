"""A file as it was received: inside the clinic's folder, an ordinary file, the same throughout."""

import os
import stat
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import IO

from shared.errors import InputFileError, nearest
from shared.files import fingerprint

SMALL_BYTES = 64 << 20  # a larger file is known by its size and times alone
_FLAGS = ("O_NONBLOCK", "O_NOFOLLOW", "O_CLOEXEC", "O_BINARY")


def ordinary_file(folder: Path, name: str) -> Path:
    """Give the place of a received file.

    Raises
    ------
    InputFileError
        If it is missing or empty, no ordinary file, or lies outside of the clinic's folder.
    """
    path = folder / name
    if PurePosixPath(name).is_absolute() or ".." in Path(name).parts or Path(name).drive:
        raise InputFileError(
            str(path), "the path leaves the clinic's folder",
            do="Put the file into the clinic's folder, and mend path in the mapping.",
        )  # fmt: skip
    if not os.path.lexists(path):
        raise InputFileError(str(path), "the file is not there", do=_instead(folder, name))
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
        found = path.stat()
    except (OSError, RuntimeError):  # a link to nothing, or to itself
        raise _not_opened(path) from None
    if not inside:
        raise InputFileError(
            str(path), "it is a link to a file outside of the clinic's folder",
            do="Put the file itself there.",
        )  # fmt: skip
    if not stat.S_ISREG(found.st_mode):
        raise InputFileError(
            str(path), "it is no ordinary file", do="Put the exported file itself there."
        )
    if found.st_size == 0:
        raise InputFileError(
            str(path), "the file is empty", do="Ask the clinic to export it again."
        )
    return path


@contextmanager
def received(folder: Path, name: str) -> Generator[tuple[Path, IO[bytes]]]:
    """Open a received file; refuse it if it is not the same when the reading is done.

    Raises
    ------
    InputFileError
        As `ordinary_file`, or if the file changed in between.
    """
    path = ordinary_file(folder, name)
    try:
        number = os.open(path.resolve(), os.O_RDONLY | _flags())
    except OSError:
        raise _not_opened(path) from None
    with os.fdopen(number, "rb") as handle:
        if not stat.S_ISREG(os.fstat(number).st_mode):
            raise _not_opened(path)
        before = _mark(path, os.fstat(number))
        yield path, handle
    try:
        after = _mark(path, path.stat())
    except OSError:
        after = ()
    if after != before:
        raise InputFileError(
            str(path), "the file changed while it was read",
            do="Wait until it is copied whole, close the program that writes to it, run again.",
        )  # fmt: skip


def matching_files(folder: Path, pattern: str) -> Iterator[str]:
    """Name the files of a folder that a pattern with * and ? means, in the order of their names."""
    if PurePosixPath(pattern).is_absolute() or ".." in Path(pattern).parts:
        ordinary_file(folder, pattern)
    found = sorted(
        item.relative_to(folder).as_posix()
        for item in folder.glob(pattern.replace("[", "[[]"))
        if not item.name.startswith(".") and not item.is_dir()
    )
    if not found:
        raise InputFileError(
            str(folder / pattern), "no file has such a name", do=_instead(folder, pattern)
        )
    yield from found


def _mark(path: Path, found: os.stat_result) -> tuple[int | str, ...]:
    content = fingerprint(path) if found.st_size <= SMALL_BYTES else ""
    times = (found.st_mtime_ns, found.st_ctime_ns)  # the second cannot be set back on Unix
    return (found.st_dev, found.st_ino, found.st_size, *times, content)


def _flags() -> int:
    """Join what this system knows of: do not wait for a writer, follow no link, tell no child."""
    flags = 0
    for name in _FLAGS:
        flags |= getattr(os, name, 0)
    return flags


def _instead(folder: Path, name: str) -> str:
    present = [item.name for item in sorted(folder.glob("*")) if item.is_file()]
    return "Put it there or mend path in the mapping. " + (
        nearest(name, present) if present else "The folder holds no file."
    )


def _not_opened(path: Path) -> InputFileError:
    return InputFileError(
        str(path), "the file cannot be opened", do="See that you may read it, and run again."
    )
