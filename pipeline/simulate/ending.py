"""What the clinic's file can hold of a course: contacts, and the last day known."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from pipeline.simulate.baseline import Baseline
from pipeline.simulate.clinics import CLINICS
from pipeline.simulate.course import Found, lock_day
from pipeline.simulate.draws import BoolArray, IntArray
from pipeline.simulate.network import Luck
from pipeline.simulate.visits import CLINIC, OTHER_VETERINARIAN, TELEPHONE

CALL, BY_RELUXATION, BY_IMPLANT = 5, 6, 7
UNDER, DISCHARGED, LOST, DIED, EUTHANISED, AMPUTATED = range(6)
STATUSES = ("under_follow_up", "discharged", "lost", "died", "euthanised", "amputated")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contacts:
    """Contacts of each stifle, (n, 8): four planned, late, call, and two a problem brought."""

    day: FloatArray
    mode: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ending:
    """Last day known of each stifle, its status, and whether a death is known as unrelated."""

    day: IntArray
    status: IntArray
    cause_known: BoolArray


def contacts_of(visits: FloatArray, found: Found, luck: Luck, baseline: Baseline) -> Contacts:
    """Put kept visits, calls and visits brought by a problem side by side, one per day."""
    last = np.minimum(lock_day(baseline), found.stop - 1)
    own = [
        np.where(found.reluxation_brought, found.reluxation, np.inf),
        np.where(found.implant_brought, found.implant, np.inf),
    ]
    day = np.column_stack([visits, luck.visits.call, *own])
    day = np.where(day <= last[:, None], day, np.inf)
    calendar = day + baseline.day[:, None]
    for slot in range(day.shape[1]):
        same = calendar[:, [slot]] == np.delete(calendar, slot, axis=1)
        earlier = same[:, :slot].any(axis=1) & (slot != CALL)
        partner = (calendar[:, [slot]] == np.delete(calendar[baseline.other], CALL, axis=1)).any(1)
        drop = earlier | ((slot == CALL) & (same.any(axis=1) | partner))
        day[drop, slot] = np.inf
        calendar[drop, slot] = np.inf
    return _on_the_form(Contacts(day=day, mode=_modes(day, baseline)), found, baseline)


def _modes(day: FloatArray, baseline: Baseline) -> IntArray:
    # The same for both stifles of an animal on one day; about one visit in ten is elsewhere.
    calendar = np.where(np.isfinite(day), day + baseline.day[:, None], 0).astype(np.int64)
    elsewhere = (baseline.animal[:, None] * 31 + calendar * 17) % 10 == 0
    mode = np.where(elsewhere, OTHER_VETERINARIAN, CLINIC)
    mode[:, CALL] = TELEPHONE
    return mode


def _on_the_form(contacts: Contacts, found: Found, baseline: Baseline) -> Contacts:
    """Leave out what a form with few places has no room for, never a visit that found trouble."""
    places = np.array([item.contacts_on_form for item in CLINICS])[baseline.clinic]
    by_animal = np.array([item.weekly for item in CLINICS])[baseline.clinic]
    day = contacts.day.copy()
    for start in np.flatnonzero(np.isfinite(day).sum(axis=1) * 2 > places):
        rows = [start, int(baseline.other[start])] if by_animal[start] else [int(start)]
        for slot in (CALL, 4, 2, 1, 0, 3):
            known = {d + baseline.day[row] for row in rows for d in day[row] if np.isfinite(d)}
            if len(known) <= places[start]:
                break
            for row in rows:
                if day[row, slot] not in (found.reluxation[row], found.implant[row]):
                    day[row, slot] = np.inf
    return Contacts(day=day, mode=contacts.mode)


def end_of(
    rng: np.random.Generator, *, contacts: Contacts, known: FloatArray, baseline: Baseline,
    found: Found, luck: Luck,
) -> Ending:  # fmt: skip
    """Say until when each animal is known; `known` (n,) is the last day an event was recorded.

    The clinic hears of most deaths soon after a contact and of few later ones. Both stifles of
    an animal end on one calendar day.
    """
    n, first, other = len(known), baseline.first, baseline.other
    lock = lock_day(baseline)
    seen = np.where(np.isfinite(contacts.day), contacts.day, -np.inf).max(axis=1)
    note = np.where(rng.random(n) < 0.42, 12.0, np.floor(31 + 60 * rng.random(n)))
    later = np.where(rng.random(n) < 0.15, np.floor(30 + 250 * rng.random(n)), 0.0)
    last = np.where(np.isfinite(seen), seen, note) + np.where(np.isfinite(seen), later, 0)
    last = np.minimum(np.maximum(last, known), np.minimum(lock, found.stop - 1))
    last = np.maximum(last, last[other] + baseline.day[other] - baseline.day)
    wait = found.stop - last
    hears = rng.random(n)[first] < np.where(wait < 150, 0.9, np.where(wait < 600, 0.35, 0.05))
    gone = luck.troubles.ends_by > 0
    dead = (np.isfinite(found.stop) & (found.stop <= lock) & hears) | (gone & (found.stop <= lock))
    put_down = (luck.troubles.ends_by == 2) | (~gone & (rng.random(n)[first] < 0.6))
    year_seen = np.isfinite(contacts.day[:, 3]) | np.isfinite(contacts.day[other, 3])
    alive = np.where(lock - last < 300, UNDER, np.where(year_seen, DISCHARGED, LOST))
    deceased = np.where(luck.troubles.ends_by == 1, AMPUTATED, np.where(put_down, EUTHANISED, DIED))
    status = np.where(dead, deceased, np.where(baseline.gap > 0, alive[other], alive))
    return Ending(
        day=np.where(dead, found.stop, last).astype(np.int64), status=status,
        cause_known=rng.random(n)[first] < 0.75,
    )  # fmt: skip
