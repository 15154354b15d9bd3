"""What one clinic may see: its own numbers, and the others as letters of this copy alone."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.report.funnels import ClinicRows, clinic_rows, compared_outcomes
from pipeline.report.material import Material
from pipeline.report.rows import of
from pipeline.report.suppress import shown_count
from pipeline.report.text import fixed, letter_of
from shared.estimate import Estimate

ALL = "all"
FEWEST_CLINICS = 3  # below it, all less one's own is one other clinic


@dataclass(frozen=True, slots=True)
class Compared:
    """One share or median of this clinic beside that of all clinics."""

    own: Estimate
    network: Estimate | None


@dataclass(frozen=True, slots=True)
class ClinicView:
    """One clinic's part of the material; `salt` makes the letters of its copy."""

    clinic: str
    material: Material
    salt: str

    @property
    def smallest(self) -> int:
        """The least count that may be shown."""
        return self.material.study.privacy.small_cell

    def compared(self, analysis: str, *measures: str) -> list[Compared]:
        """Rows of this clinic with those of the whole study beside them."""
        rows = of(self.material.rows, *measures, analysis=analysis)
        keep = len(self.material.study.clinics) >= FEWEST_CLINICS
        whole = {_about(row): row for row in rows if row.group == ALL and keep}
        return [Compared(row, whole.get(_about(row))) for row in rows if row.group == self.clinic]

    def outcomes(self) -> list[tuple[str, ClinicRows]]:
        """Give the comparison of this clinic, by outcome."""
        return [
            (outcome, item)
            for outcome in compared_outcomes(self.material.rows)
            for item in clinic_rows(self.material.rows, outcome)
            if item.clinic == self.clinic
        ]

    def names(self, outcome: str) -> dict[str, str]:
        """Names of the clinics that may be drawn: letters, and "Your clinic" for the reader's own.

        Whoever has fewer events than may be shown is not drawn: its point would tell the count.
        """
        letters = letters_of_copy(self.material.study.clinics, reader=self.clinic, salt=self.salt)
        shown = {
            item.clinic: letters.get(item.clinic, "")
            for item in clinic_rows(self.material.rows, outcome)
            if (item.ratio.events or 0) >= self.smallest
        }
        return {
            clinic: "Your clinic" if clinic == self.clinic else letter
            for clinic, letter in shown.items()
        }

    def count(self, count: float | None) -> str:
        """Print a count: 1 to 4 read "<5"."""
        return "" if count is None else shown_count(round(count), smallest=self.smallest)

    def share(self, row: Estimate) -> str:
        """Print a share per 100; words where it would tell a small count, or the small rest."""
        if row.estimate is None or row.n is None or row.events is None:
            return "too few"
        if self.is_small(row.events):
            return "hardly any"
        if self.is_small(row.n - row.events):
            return "nearly all"
        return f"{fixed(100 * row.estimate, 0)} of 100"

    def is_small(self, count: int) -> bool:
        """Whether a count must not be shown."""
        return 0 < count < self.smallest


def letters_of_copy(clinics: Sequence[str], *, reader: str, salt: str) -> dict[str, str]:
    """Give every clinic a letter, in an order that belongs to the reader's copy alone.

    The order comes from a hash of salt, reader and clinic: the same run gives the same copy, and
    two clinics that lay their copies side by side cannot match letters.
    """

    def place(clinic: str) -> str:
        return hashlib.sha256(f"{salt}/{reader}/{clinic}".encode()).hexdigest()

    ranked = enumerate(sorted(clinics, key=place))
    return {clinic: letter_of(rank).upper() for rank, clinic in ranked}


def _about(row: Estimate) -> tuple[str | None, str | None, float | None]:
    return row.outcome, row.term, row.day
