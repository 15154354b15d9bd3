"""What linking gives: rows by number for the cohort, by name for people."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import polars as pl

NAMES = ("stifle_id", "animal_id")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Below:
    """A table below the stifles, by number.

    Attributes
    ----------
    rows
        All accepted rows, days counted from the index operation.
    stifle_no
        For each of them its joint; null for a row that belongs to no index operation or cannot be
        dated: it is no part of the linked table.
    """

    rows: pl.DataFrame
    stifle_no: pl.Series

    def named(self, stifles: pl.DataFrame) -> pl.DataFrame:
        """Give the rows of joints, under the names that `stifles` has for them."""
        known = self.stifle_no.is_not_null()
        rows, places = self.rows, self.stifle_no
        if not known.all():
            rows, places = rows.filter(known), places.filter(known)
        return rows.select(*(stifles[name].gather(places) for name in NAMES), pl.all())


class LinkedTables(Mapping[str, pl.DataFrame]):
    """Linked tables by name; those below the stifles are put under names when first asked for.

    The cohort asks by number: names and addresses of millions of rows are made for those who read
    or write them.
    """

    def __init__(
        self, own: Mapping[str, pl.DataFrame | Callable[[], pl.DataFrame]],
        below: Mapping[str, Below],
    ) -> None:  # fmt: skip
        self._own = own
        self._below = below
        self._order = (*own, *below)
        self._made: dict[str, pl.DataFrame] = {}

    def __getitem__(self, name: str) -> pl.DataFrame:
        if name not in self._made:
            self._made[name] = self._make(name)
        return self._made[name]

    def _make(self, name: str) -> pl.DataFrame:
        if name in self._below:
            return self._below[name].named(self["stifles"])
        table = self._own[name]
        return table if isinstance(table, pl.DataFrame) else table()

    def __iter__(self) -> Iterator[str]:
        return iter(self._order)

    def __len__(self) -> int:
        return len(self._order)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Linked:
    """Accepted rows under `animal_id` and `stifle_id`, days counted from the index operation.

    A joint goes by stifle_no, its row of ``tables["stifles"]``.

    Attributes
    ----------
    tables
        As accepted, with stifle_id and animal_id; ``stifles`` has one row per joint, its index
        operation, and ``revisions`` one row per later operation, at whichever clinic. Rows with
        a day have window_days: the half width of a day that was planned, not measured.
    joints
        What is known of each joint: ``tables["stifles"]`` but for the address of its rows.
    below
        The tables below the stifles by number, their rows that are left out still in place.
    operations
        One row per operation known: stifle_no, clinic_id (who reported it), kind, day after the
        index operation. All earlier ones first, then all of the index, then all revisions.
    holds
        What is unknown until answered: stifle_id, target, rule.
    near_matches
        Pairs of rows that may be one animal (``LIST_SCHEMA``), for a person to decide; and what
        was decided.
    findings
        Questions and holds that linking raises.
    n_reported_twice
        Stifle rows that report an operation another clinic reported too.
    animals
        One row per row of ``tables["stifles"]``: animal_row (in ``tables["animals"]``, the code
        under which it was operated) and animal_no (a number of the animal over all its codes).
    animal_nos
        The animal_no of each row of ``tables["animals"]``.
    sent
        One row per accepted row of stifles, in their order: its joint's stifle_no, kind (index,
        revision, earlier, reported_twice), day after the index operation.
    """

    tables: Mapping[str, pl.DataFrame]
    joints: pl.DataFrame
    below: Mapping[str, Below]
    operations: pl.DataFrame
    holds: pl.DataFrame
    near_matches: pl.DataFrame
    findings: pl.DataFrame
    n_reported_twice: int
    animals: pl.DataFrame
    animal_nos: pl.Series
    sent: pl.DataFrame
