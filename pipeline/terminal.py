"""What the terminal shows: progress on stderr, one summary, one clear message when it fails."""

import sys
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from shared.errors import StudyError

if TYPE_CHECKING:
    from pipeline.summary import Summary


class Progress:
    """A line on stderr that says which step runs; nothing when quiet or not a terminal."""

    def __init__(self, title: str, *, quiet: bool) -> None:
        self._title, self._quiet, self._count = title, quiet, 0
        self._live = sys.stderr.isatty()

    def __enter__(self) -> Callable[[str], None]:
        return self._step

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._live and not self._quiet and self._count:
            sys.stderr.write("\r\033[K")

    def _step(self, name: str) -> None:
        self._count += 1
        if self._quiet:
            return
        if self._live:
            sys.stderr.write(f"\r\033[K{self._title} [{'#' * self._count}] {name}")
        else:
            sys.stderr.write(f"{self._title}: {name}\n")
        sys.stderr.flush()


def finish(summary: "Summary", *, quiet: bool, as_json: bool) -> None:
    """Print the closing lines of a command."""
    if as_json:
        sys.stdout.write(summary.as_json() + "\n")
    elif not quiet:
        sys.stdout.write(summary.as_text() + "\n")


def guarded(command: Callable[[], object]) -> None:
    """Run a command; turn what the user can mend into a message and the rest into one line."""
    try:
        command()
    except StudyError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(error.exit_code)
    except (SystemExit, KeyboardInterrupt):
        raise
    except BaseException as error:  # a defect, of a library too: kept in a file, its text nowhere
        sys.stderr.write(
            f"A defect of the program ({type(error).__name__}); where it happened is in "
            f"{_defect_file(error)}. Nothing was written over.\n"
        )
        sys.exit(2)


def _defect_file(error: BaseException) -> Path:
    """Keep the places a defect passed through, without any value: messages may quote cells."""
    places = traceback.extract_tb(error.__traceback__)
    lines = [f"{type(error).__name__}"]
    lines += [f"{place.filename}, line {place.lineno}, in {place.name}" for place in places]
    with tempfile.NamedTemporaryFile(
        "w", prefix="sulca-defect-", suffix=".txt", delete=False, encoding="utf-8"
    ) as handle:
        handle.write("\n".join(lines) + "\n")
    return Path(handle.name)
