"""Rows of a Cox model, sorted once so that every fit on them is a few passes over arrays.

A *slot* is a distinct event day within a stratum; slots are numbered stratum by stratum, day by
day. All that matters of a row's times is which slots it is at risk at: ``first <= slot < stop``.
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray

LARGEST_DAY_TABLE = 4_000_000
ROUNDING = 1e-12  # spread below this share of a column's size is rounding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TiedDeaths:
    """Slots with several deaths; J of them. Places are in ``CoxData.deaths``."""

    slots: IntArray  # (J,)
    deaths: IntArray  # all deaths of these slots, slot by slot
    start: IntArray  # (J,) first of `deaths` of each slot
    later: IntArray  # all but the first death of each slot
    later_place: IntArray  # which of the J slots each of `later` belongs to
    later_start: IntArray  # (J,) first of `later` of each slot


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoxData:
    """Rows at risk at one event at least, sorted by their last slot; m rows, K slots, p terms."""

    design: FloatArray  # (m, 1 + p) a constant, then the terms `x`
    first: IntArray  # (m,) first slot at which the row is at risk
    stop: IntArray  # (m,) one past the last slot
    rows: IntArray  # (m,) place of each row in the input
    row_start: IntArray  # (K,) first row whose last slot is this
    late: IntArray  # rows that enter after the first slot of their stratum, sorted by `first`
    late_start: IntArray  # (K,) first of `late` that is absent at this slot and not at the next
    deaths: IntArray  # (d,) rows that end in an event, sorted by slot
    death_slot: IntArray  # (d,)
    death_rank: IntArray  # (d,) 0, 1, ... among the deaths of a slot
    death_start: IntArray  # (K,) first death of each slot
    ties: TiedDeaths
    slot_day: FloatArray  # (K,)
    slot_stratum: IntArray  # (K,) number of the stratum, as in `strata` of the input
    slot_bounds: IntArray  # first slot of each stratum with events, and K at the end
    centre: FloatArray  # (p,)
    scale: FloatArray  # (p,)
    n_rows: int  # rows in the input

    @property
    def x(self) -> FloatArray:
        """Terms, shape (m, p): centred, in units of the column's standard deviation."""
        return self.design[:, 1:]

    def x_of_deaths(self) -> FloatArray:
        """Terms of the deaths, shape (d, p); taken from whole rows, which is quicker."""
        return self.design.take(self.deaths, axis=0)[:, 1:]

    @property
    def tied(self) -> bool:
        """Whether two events share a slot."""
        return len(self.deaths) > len(self.slot_day)


def prepare_cox(
    time: FloatArray,
    event: BoolArray,
    x: FloatArray,
    *,
    entry: FloatArray | None = None,
    strata: IntArray | None = None,
) -> CoxData:
    """Sort rows into slots; rows that are at risk at no event are left out.

    Parameters
    ----------
    time, event, x
        Shapes (n,), (n,) and (n, p): day of leaving, whether by the event, terms without a
        constant. Validated by the caller.
    entry
        Day after which a row is at risk (left truncation): at risk if entry < day <= time.
    strata
        Number of each row's stratum, 0, 1, ...
    """
    days = np.unique(time[event])
    width = len(days) + 1
    stratum = np.zeros(len(time), np.int64) if strata is None else strata.astype(np.int64)
    key = stratum * width + _days_reached(days, time)
    key_entry = stratum * width
    if entry is not None:
        key_entry = key_entry + _days_reached(days, entry)
    has_slot = np.zeros(width * (int(stratum.max(initial=0)) + 1), bool)
    has_slot[key[event]] = True
    reached = np.cumsum(has_slot)
    stop, first = reached[key], reached[key_entry]
    at_risk = np.flatnonzero(stop > first)
    small = np.int16 if reached[-1] < 2**15 else np.int64  # numpy sorts int16 by radix
    rows = at_risk[np.argsort(stop[at_risk].astype(small), kind="stable")]
    slot_key = np.flatnonzero(has_slot)
    return _in_slots(
        x.take(rows, axis=0),  # four times as quick as x[rows]
        rows,
        event,
        first=first[rows],
        stop=stop[rows],
        slot_day=days[slot_key % width - 1],
        slot_stratum=slot_key // width,
    )


def _in_slots(
    x: FloatArray,
    rows: IntArray,
    event: BoolArray,
    *,
    first: IntArray,
    stop: IntArray,
    slot_day: FloatArray,
    slot_stratum: IntArray,
) -> CoxData:
    """Bounds of slots among rows, late rows and deaths."""
    slots = np.arange(len(slot_day))
    changes = np.flatnonzero(np.diff(slot_stratum)) + 1
    bounds = np.concatenate(([0], changes, [len(slots)])).astype(np.int64)
    stratum_first = np.repeat(bounds[:-1], np.diff(bounds))
    late = np.flatnonzero(first > stratum_first[stop - 1])
    late = late[np.argsort(first[late], kind="stable")]
    deaths = np.flatnonzero(event[rows])
    death_slot = stop[deaths] - 1
    death_start = np.searchsorted(death_slot, slots)
    design, centre, scale = _scaled(x)
    death_rank = np.arange(len(deaths)) - death_start[death_slot]
    return CoxData(
        design=design, first=first, stop=stop, rows=rows,
        row_start=np.searchsorted(stop, slots + 1),
        late=late, late_start=np.searchsorted(first[late], slots + 1),
        deaths=deaths, death_slot=death_slot, death_start=death_start,
        death_rank=death_rank, ties=_tied_deaths(death_slot, death_rank),
        slot_day=slot_day, slot_stratum=slot_stratum, slot_bounds=bounds,
        centre=centre, scale=scale, n_rows=len(event),
    )  # fmt: skip


def _scaled(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Centre and scale the terms beside a constant; a column without spread becomes nil."""
    rows, terms = x.shape
    centre = np.einsum("ij->j", x) / max(rows, 1)  # a quarter of the time of a mean
    design = np.ones((rows, 1 + terms))
    inner = design[:, 1:]
    np.subtract(x, centre, out=inner)
    scale = np.sqrt(np.einsum("ij,ij->j", inner, inner) / max(rows, 1))
    constant = scale <= ROUNDING * np.abs(centre)
    scale[constant] = 1.0
    inner /= scale
    inner[:, constant] = 0.0
    return design, centre, scale


def _tied_deaths(slot: IntArray, rank: IntArray) -> TiedDeaths:
    later = np.flatnonzero(rank > 0)
    tied = np.zeros(len(slot) + 1, bool)
    tied[slot[later]] = True
    slots = np.flatnonzero(tied)
    later_place = (np.cumsum(tied) - 1)[slot[later]]
    deaths = np.flatnonzero(tied[slot])
    return TiedDeaths(
        slots=slots, deaths=deaths, start=np.searchsorted(slot[deaths], slots),
        later=later, later_place=later_place, later_start=np.searchsorted(slot[later], slots),
    )  # fmt: skip


def _days_reached(days: FloatArray, values: FloatArray) -> IntArray:
    """Count the event days at or before each value; whole days by a table, without a search."""
    top = float(values.max(initial=0.0))
    whole = (
        len(days) > 0
        and 0 <= top < LARGEST_DAY_TABLE
        and values.min() >= 0
        and bool(np.all(values == np.floor(values)))
    )
    if not whole:
        return np.searchsorted(days, values, side="right")
    table = np.searchsorted(days, np.arange(int(top) + 1), side="right")
    return table[values.astype(np.int32)]
