"""When things go wrong, under each technique: latent times that nobody sees as they happen.

Weibull proportional hazards. A stifle has one unit exponential per outcome; the technique
moves only the hazard, so a stifle's times under both techniques come from the same draw.
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from pipeline.simulate.baseline import Baseline
from pipeline.simulate.clinics import CLINICS
from pipeline.simulate.draws import BoolArray
from pipeline.simulate.effects import Effects
from pipeline.simulate.technique import BLOCK, NO_GROOVE, SEMICYLINDRICAL, WEDGE, Technique

# Latent cumulative hazard by day 365 at the middle of the network, and Weibull shape.
RELUXATION = (0.108, 0.6)
IMPLANT = (0.088, 0.65)
DEATHS_PER_YEAR = 0.03


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fate:
    """Unit exponentials of one stifle's reluxation and implant complication, and its death."""

    reluxation: FloatArray
    implant: FloatArray
    death_day: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Latent:
    """Days on which trouble begins, seen or not, infinite where it never does."""

    reluxation: FloatArray
    implant: FloatArray


def draw_fate(rng: np.random.Generator, baseline: Baseline) -> Fate:
    """Draw what would happen; death is one per animal and comes after its last operation."""
    n = len(baseline.day)
    reluxation, implant = rng.exponential(size=n), rng.exponential(size=n)
    rate = DEATHS_PER_YEAR * np.exp(0.018 * (np.minimum(baseline.age_months, 130) - 30))
    wait = rng.exponential(size=n)[baseline.first] * 365.25 / rate[baseline.first]
    last_gap = np.maximum(baseline.gap, baseline.gap[baseline.other])
    return Fate(
        reluxation=reluxation, implant=implant,
        death_day=np.ceil(wait) + (last_gap - baseline.gap + 1).astype(np.float64),
    )  # fmt: skip


def reluxation_day(
    fate: Fate, baseline: Baseline, technique: Technique, *, effects: Effects,
    block: BoolArray | None = None,
) -> FloatArray:  # fmt: skip
    """Day the patella first luxates again, were `block` done in place of wedge recession.

    `block` (n,) replaces the technique of stifles with one of the two recessions; None keeps
    what was done.
    """
    is_block = technique.sulcoplasty == BLOCK
    if block is not None:
        recession = is_block | (technique.sulcoplasty == WEDGE)
        is_block = np.where(recession, block, is_block)
    log_hazard = (
        effects.block_on_reluxation * is_block
        + 0.5 * (technique.sulcoplasty == NO_GROOVE)
        - 0.2 * (technique.sulcoplasty == SEMICYLINDRICAL)
        + 0.5 * (baseline.grade - 2.5)
        - 0.2 * (np.log(baseline.weight_kg) - 1.8)
        - 0.003 * (baseline.age_months - 30)
        - 0.03 * baseline.year
        + 0.3 * (baseline.direction == 1)
        + 0.5 * ~technique.ttt
        + np.array([item.reluxation for item in CLINICS])[baseline.clinic]
        + baseline.frailty
    )
    return _weibull(fate.reluxation, log_hazard, RELUXATION)


def implant_day(
    fate: Fate, baseline: Baseline, technique: Technique, *, effects: Effects,
    band: BoolArray | None = None, two_wires: BoolArray | None = None,
) -> FloatArray:  # fmt: skip
    """Day of the first tuberosity or implant complication; never without implants.

    `band` and `two_wires` (n,) replace what was done in transpositions held with K-wires.
    """
    banded = technique.band if band is None else band
    two = technique.two_wires if two_wires is None else two_wires
    log_hazard = (
        np.where(technique.pinned, effects.band_on_implant * banded
                 + effects.one_wire_on_implant * ~two, -0.3)
        + np.array([-0.1, 0.4, 0.7])[technique.bridge]
        + 0.3 * (np.log(baseline.weight_kg) - 1.8)
        + 0.15 * (baseline.grade - 2.5)
        - 0.002 * (baseline.age_months - 30)
        + np.array([item.implant for item in CLINICS])[baseline.clinic]
        + baseline.frailty
    )  # fmt: skip
    day = _weibull(fate.implant, log_hazard, IMPLANT)
    return np.where(technique.ttt, day, np.inf)


def _weibull(unit: FloatArray, log_hazard: FloatArray, law: tuple[float, float]) -> FloatArray:
    by_a_year, shape = law
    return 365 * (unit / (by_a_year * np.exp(log_hazard))) ** (1 / shape)
