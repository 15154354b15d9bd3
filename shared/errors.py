"""What can go wrong in a way the user can mend.

StudyError                 shown as text, exit code 2
├── InputFileError         a file is missing, empty, unreadable or of the wrong shape
├── MappingError           a mapping does not fit its schema or its export
├── PlanError              study.toml or a plan names something that does not exist
├── NobodyLeftError        the protocol leaves nobody in the cohort, exit code 1
└── NoEventsError          nobody had the event of a primary analysis, exit code 1

Findings about single cells are no exceptions: they go to the query lists.
Any other exception is a defect of the program.
"""

from collections.abc import Iterable
from difflib import get_close_matches

LONGEST = 4000  # characters of one part of a message


class StudyError(Exception):
    """Something the user can mend: where it is, what was found, what to do."""

    exit_code = 2

    def __init__(self, where: str, what: str, *, do: str, lines: Iterable[str] = ()) -> None:
        """Take `lines` that follow what was found, each on a line of its own."""
        self.where, self.do = plain(where), plain(do)
        self.what = "\n".join(map(plain, (what, *lines)))
        super().__init__(f"{self.where}: {self.what}\n{self.do}")


class InputFileError(StudyError):
    """A file is missing, empty, unreadable or of the wrong shape."""


class MappingError(StudyError):
    """A mapping does not fit its schema or its export."""


class PlanError(StudyError):
    """The protocol or plan names something that does not exist or contradicts itself."""


class NobodyLeftError(StudyError):
    """The protocol leaves nobody in the cohort."""

    exit_code = 1


class NoEventsError(StudyError):
    """Nobody had the event that a primary analysis asks about."""

    exit_code = 1


def plain(text: str) -> str:
    """Write a text that may come from a file so that it cannot steer or flood a terminal."""
    shown = "".join(letter if letter.isprintable() else " " for letter in text[:LONGEST])
    return shown + "…" if len(text) > LONGEST else shown


def nearest(name: str, known: Iterable[str]) -> str:
    """Say which of the known names was probably meant, or list them."""
    choices = sorted(known)
    close = get_close_matches(name, choices, n=1, cutoff=0.5)
    if close:
        return f'Did you mean "{close[0]}"?'
    return "Known here: " + ", ".join(choices) + "."
