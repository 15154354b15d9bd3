"""Rows found by the codes of their clinic: which row of another table each row is about."""

from collections.abc import Iterator
from functools import cached_property
from itertools import count

import numpy as np
import numpy.typing as npt
import polars as pl

from shared.side_by_side import side_by_side

ANIMAL = ("clinic_id", "local_animal")
STIFLE = ("clinic_id", "local_stifle")
ROWS_AT_A_TIME = 1 << 16  # what is worked out of so many rows fits in the processor's own memory
SLOTS_A_ROW = 4  # and up to twice as many: then nine rows of ten have the slot of their mark
Rows = npt.NDArray[np.uint32]
Marks = npt.NDArray[np.uint64]


def animals_of(stifles: pl.DataFrame, animals: pl.DataFrame) -> pl.Series:
    """Give, for each row of stifles, its row of animals; null without one."""
    return RowsByKey(animals.select(ANIMAL)).rows_of(stifles.select(ANIMAL))


class RowsByKey:
    """Rows of a table by their marks, numbers of 64 bits made of their texts.

    Marks are compared in a tenth of the time of texts. Two keys of the table never have one mark:
    they are made anew until none do. That a key which is not in the table has the mark of one
    that is, is not to be expected (a million of each: 5e-8).
    """

    def __init__(self, keys: pl.DataFrame) -> None:
        self._nobody = keys.height  # what a free slot holds
        size = 1 << (SLOTS_A_ROW * keys.height).bit_length()
        for self.seed in count(1):
            self._marks = self.marks_of(keys)
            self._slots = np.full(size, self._nobody, dtype=np.uint32)
            if all(keys[rows].equals(keys[there]) for rows, there in self._put_in_slots()):
                break

    def marks_of(self, keys: pl.DataFrame) -> Marks:
        """Make one number of the texts of each row, another with each seed."""
        return keys.hash_rows(seed=self.seed).to_numpy()

    def _put_in_slots(self) -> Iterator[tuple[Rows, Rows]]:
        """Give each row the slot of its mark, or the next that is free.

        Yields
        ------
        tuple
            Rows that get none, as their mark has a slot already, and the rows that are there.
        """
        rest = np.arange(self._nobody, dtype=np.uint32)
        step = 0
        while len(rest):
            marks = self._marks.take(rest, mode="clip")
            slots = self._slots_of(marks, step)
            free = self._slots.take(slots, mode="clip") == self._nobody
            self._slots[slots[free]] = rest[free]
            there = self._slots.take(slots, mode="clip")
            lost = there != rest
            rest, there, marks = rest[lost], there[lost], marks[lost]
            same = self._marks.take(there, mode="clip") == marks
            yield rest[same], there[same]
            rest = rest[~same]
            step += 1

    def rows_of(self, asked: pl.DataFrame) -> pl.Series:
        """Give, for each row of `asked`, the row with the same texts; null without one."""
        if not self._nobody:
            return pl.repeat(None, asked.height, dtype=pl.UInt32, eager=True)
        parts = side_by_side(
            lambda start: self._look_up(self.marks_of(asked.slice(start, ROWS_AT_A_TIME))),
            range(0, asked.height, ROWS_AT_A_TIME),
        )
        rows = pl.Series(np.concatenate(parts) if parts else [], dtype=pl.UInt32)
        unknown = rows == self._nobody
        return rows.set(unknown, None) if unknown.any() else rows

    def _look_up(self, marks: Marks, step: int = 0) -> Rows:
        """Look in the slots that many further than the marks' own, and on where another row is."""
        rows = self._slots.take(self._slots_of(marks, step), mode="clip")
        others = self._marks.take(rows, mode="clip") != marks
        on = (others & (rows != self._nobody)).nonzero()[0]
        if len(on):
            rows[on] = self._look_up(marks[on], step + 1)
        return rows

    def _slots_of(self, marks: Marks, step: int) -> npt.NDArray[np.int64]:
        last = np.uint64(len(self._slots) - 1)
        return ((marks + np.uint64(step)) & last).view(np.int64)


class StifleRows:
    """Rows of stifles by the codes of their clinic, which are marked when first looked for."""

    def __init__(self, stifles: pl.DataFrame) -> None:
        self._keys = stifles.select(STIFLE)

    def of(self, table: pl.DataFrame) -> pl.Series:
        """Give, for each row of a table below the stifles, its row of stifles; null without one."""
        asked = table.select(STIFLE)
        # Operations mostly stand in the order of their stifles: then there is nothing to look up.
        if asked.equals(self._keys):
            return pl.int_range(asked.height, dtype=pl.UInt32, eager=True)
        return self._known.rows_of(asked)

    @cached_property
    def _known(self) -> RowsByKey:
        return RowsByKey(self._keys)
