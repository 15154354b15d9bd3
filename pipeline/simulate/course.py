"""One course per stifle: what was found when, what followed, and how follow-up ended."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from pipeline.simulate.baseline import Baseline
from pipeline.simulate.clinics import CLINICS, day_number
from pipeline.simulate.draws import BoolArray, IntArray
from pipeline.simulate.effects import Effects
from pipeline.simulate.latent import Latent
from pipeline.simulate.network import Luck, Network
from pipeline.simulate.troubles import (
    IMPLANT_REVISED,
    OPPOSITE,
    RELUXATION_REVISED,
    implant_kind,
    revision_day,
)
from pipeline.simulate.visits import detect


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What was found and operated again, as days (n,), infinite where not, and by what kind.

    `stop` is the day of death or amputation. Nothing here lies after it or after the lock.
    """

    stop: FloatArray
    reluxation: FloatArray
    reluxation_revised: FloatArray
    implant: FloatArray
    implant_kind: IntArray
    implant_revised: FloatArray
    planned_removal: FloatArray
    reluxation_brought: BoolArray
    implant_brought: BoolArray


def lock_day(baseline: Baseline) -> FloatArray:
    """Days from surgery to the day on which the clinic drew its export."""
    locks = np.array([day_number(item.lock) for item in CLINICS], dtype=np.float64)
    return locks[baseline.clinic] - baseline.day


def find(
    visits: FloatArray, network: Network, *, latent: Latent, effects: Effects,
    horizon: FloatArray, band: BoolArray | None = None,
) -> Found:  # fmt: skip
    """Find latent troubles at `visits` (n, k), and let revisions, removal and death follow."""
    luck, technique = network.luck, network.technique
    troubles = luck.troubles
    ended = np.where(troubles.ends_by > 0, troubles.other_day, np.inf)
    stop = np.minimum(luck.fate.death_day, ended)
    last = np.minimum(horizon, stop - 1)
    within = np.where(visits <= last[:, None], visits, np.inf)
    seen = detect(within, luck.visits, latent=latent, baseline=network.baseline)
    removal = np.where(technique.pinned, troubles.planned_removal, np.inf)
    removal = np.where((removal < latent.implant) & (removal < seen.reluxation), removal, np.inf)
    removal = _until(removal, last)
    found_implant = _until(np.where(np.isfinite(removal), np.inf, seen.implant), last)
    found_reluxation = _until(seen.reluxation, last)
    kind = implant_kind(troubles, technique, effects=effects, band=band)
    return Found(
        stop=stop, reluxation=found_reluxation, implant=found_implant, implant_kind=kind,
        reluxation_revised=_until(revision_day(
            found_reluxation, troubles.revises,
            share=RELUXATION_REVISED[troubles.reluxation_grade], wait=troubles.wait,
        ), last),
        implant_revised=_until(revision_day(
            found_implant, troubles.revises_implant, share=IMPLANT_REVISED[kind],
            wait=troubles.wait_implant,
        ), last),
        planned_removal=removal,
        reluxation_brought=seen.reluxation_brought & np.isfinite(found_reluxation),
        implant_brought=seen.implant_brought & np.isfinite(found_implant),
    )  # fmt: skip


def opposite_day(found: Found, luck: Luck, visits: FloatArray) -> FloatArray:
    """Day on which an opposite luxation was palpated: at a visit, in stifles without reluxation."""
    troubles = luck.troubles
    since = np.where(troubles.other == OPPOSITE, troubles.other_day, np.inf)
    seen = np.where(visits >= since[:, None], visits, np.inf).min(axis=1)
    return np.where(np.isfinite(found.reluxation), np.inf, _until(seen, found.stop - 1))


def _until(day: FloatArray, last: FloatArray) -> FloatArray:
    return np.where(day <= last, day, np.inf)
