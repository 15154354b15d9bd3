"""What one clinic may see: its own numbers, and the others as letters of this copy alone."""

import hashlib
from collections.abc import Sequence

from pipeline.report.section_clinics import letter_of
from pipeline.report.suppress import shown_count


def letters_of_copy(clinics: Sequence[str], *, reader: str, seed: int) -> dict[str, str]:
    """Give every clinic a letter, in an order that belongs to the reader's copy alone.

    The order comes from a hash of seed, reader and clinic, so that two clinics that lay their
    copies side by side cannot match letters, and the same run gives the same copy.
    """

    def place(clinic: str) -> str:
        return hashlib.sha256(f"{seed}/{reader}/{clinic}".encode()).hexdigest()

    return {clinic: letter_of(rank) for rank, clinic in enumerate(sorted(clinics, key=place))}


def count_text(count: float | None) -> str:
    """Print a count of this copy: 1 to 4 read "<5"."""
    return "" if count is None else shown_count(round(count))
