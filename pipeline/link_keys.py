"""Rows found by the codes of their clinic: which row of another table each row is about."""

from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from shared.side_by_side import side_by_side

ANIMAL = ("clinic_id", "local_animal")
STIFLE = ("clinic_id", "local_stifle")
ROWS_AT_A_TIME = 1 << 16  # what is worked out of so many rows fits in the processor's own memory
SLOTS_A_ROW = 4  # and up to twice as many: then nine rows of ten have the slot of their mark
Rows = npt.NDArray[np.uint32] | npt.NDArray[np.intp]


def animals_of(stifles: pl.DataFrame, animals: pl.DataFrame) -> pl.Series:
    """Give, for each row of stifles, its row of animals; null without one."""
    return _Known(animals.select(ANIMAL)).rows_of(stifles.select(ANIMAL))


def put(values: pl.Series, rows: pl.Series, height: int) -> pl.Series:
    """Put each number at its row of a column of `height` rows; null where there is none."""
    placed = np.zeros(height, dtype=np.uint32)
    placed[rows.to_numpy()] = values.to_numpy()
    column = pl.Series(placed)
    if len(rows) == height:
        return column
    known = np.zeros(height, dtype=np.bool_)
    known[rows.to_numpy()] = True
    return column.set(~pl.Series(known), None)


class _Marks:
    """Two hashes of 64 bits for each row of keys, in place of its texts.

    Among the rows of any study, that others have both in common is not to be expected, and numbers
    are compared in a tenth of the time.
    """

    def __init__(self, one: npt.NDArray[np.uint64], two: npt.NDArray[np.uint64]) -> None:
        self.one, self.two = one, two

    @classmethod
    def of(cls, keys: pl.DataFrame) -> "_Marks":
        one, two = (keys.hash_rows(seed=seed).to_numpy() for seed in (1, 2))
        return cls(one, two)

    def __getitem__(self, rows: Rows) -> "_Marks":
        return _Marks(self.one[rows], self.two[rows])

    def differ(self, rows: Rows, others: "_Marks") -> npt.NDArray[np.bool_]:
        """Say where these rows are others than those of another table."""
        one = self.one.take(rows, mode="clip") != others.one
        return one | (self.two.take(rows, mode="clip") != others.two)


class _Known:
    """Rows of a table by their marks: each has the slot of its mark, or the next that was free."""

    def __init__(self, keys: pl.DataFrame) -> None:
        self._marks = _Marks.of(keys)
        self._nobody = keys.height  # what a free slot holds
        size = 1 << (SLOTS_A_ROW * keys.height).bit_length()
        self._slots = np.full(size, self._nobody, dtype=np.uint32)
        rest = np.arange(keys.height, dtype=np.uint32)
        step = 0
        while len(rest):
            slots = self._slots_of(self._marks.one.take(rest, mode="clip"), step)
            free = self._slots.take(slots, mode="clip") == self._nobody
            self._slots[slots[free]] = rest[free]
            there = self._slots.take(slots, mode="clip")
            lost = there != rest
            there, rest = there[lost], rest[lost]
            rest = rest[self._marks.differ(there, self._marks[rest])]  # a row sent twice needs one
            step += 1

    def rows_of(self, asked: pl.DataFrame) -> pl.Series:
        """Give, for each row of `asked`, the row with the same texts; null without one."""
        if not self._nobody:
            return pl.repeat(None, asked.height, dtype=pl.UInt32, eager=True)
        parts = side_by_side(
            lambda start: self._look_up(_Marks.of(asked.slice(start, ROWS_AT_A_TIME))),
            range(0, asked.height, ROWS_AT_A_TIME),
        )
        rows = pl.Series(np.concatenate(parts) if parts else [], dtype=pl.UInt32)
        unknown = rows == self._nobody
        return rows.set(unknown, None) if unknown.any() else rows

    def _look_up(self, marks: _Marks, step: int = 0) -> Rows:
        """Look in the slots that many further than the marks' own, and on where another row is."""
        rows = self._slots.take(self._slots_of(marks.one, step), mode="clip")
        on = (self._marks.differ(rows, marks) & (rows != self._nobody)).nonzero()[0]
        if len(on):
            rows[on] = self._look_up(marks[on], step + 1)
        return rows

    def _slots_of(self, marks: npt.NDArray[np.uint64], step: int) -> npt.NDArray[np.int64]:
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
    def _known(self) -> _Known:
        return _Known(self._keys)


def at_rows(frame: pl.DataFrame, rows: pl.Series) -> pl.DataFrame:
    """Give these rows of a frame; a column without any value is not looked through."""
    # In one piece: texts in several would be looked for piece by piece.
    return frame.select(
        pl.lit(None, kind).alias(name) if frame[name].null_count() == frame.height > 0
        else frame[name].rechunk().gather(rows)
        for name, kind in frame.schema.items()
    )  # fmt: skip
