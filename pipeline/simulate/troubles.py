"""Troubles beside the primary outcomes, and what a detected trouble leads to."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from pipeline.simulate.baseline import Baseline
from pipeline.simulate.draws import BoolArray, IntArray, choose
from pipeline.simulate.effects import Effects
from pipeline.simulate.technique import Technique

NONE, SEROMA, SUPERFICIAL, DEEP, SUTURE, LAMENESS, OPPOSITE = range(7)
OTHER_TYPES = (
    None, "seroma", "surgical_site_infection", "surgical_site_infection",
    "suture_reaction", "persistent_lameness", "opposite_luxation",
)  # fmt: skip
OTHER_SHARES = (0.905, 0.036, 0.02, 0.012, 0.009, 0.009, 0.009)
OTHER_DAYS = ((0, 0), (5, 20), (4, 22), (7, 55), (14, 80), (50, 120), (20, 300))
FRACTURE, DISPLACEMENT, MIGRATION, BREAKAGE, WIRE_BREAKAGE, LOOSENING, IRRITATION, SCREW = range(8)
IMPLANT_TYPES = (
    "tuberosity_fracture", "tuberosity_displacement", "kwire_migration", "kwire_breakage",
    "wire_breakage", "wire_loosening", "implant_irritation", "screw_or_plate_failure",
)  # fmt: skip
# Shares without a band, with one (its irritation apart), and with a screw.
SHARES_WITHOUT = (0.28, 0.14, 0.32, 0.06, 0.0, 0.0, 0.2, 0.0)
SHARES_WITH = (0.16, 0.12, 0.36, 0.06, 0.15, 0.15, 0.0, 0.0)
SHARES_SCREW = (0.4, 0.1, 0.0, 0.0, 0.0, 0.0, 0.15, 0.35)
IMPLANT_REVISED = np.array([0.7, 0.45, 0.55, 0.6, 0.5, 0.35, 0.55, 0.7])
RELUXATION_REVISED = np.array([0.0, 0.12, 0.55, 0.8, 0.9])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Troubles:
    """Luck of each stifle with the course of its troubles; days are infinite where none.

    `ends_by` is 1 for amputation and 2 for euthanasia because of a deep infection.
    """

    other: IntArray
    other_day: FloatArray
    ends_by: IntArray
    reluxation_grade: IntArray
    kind_draw: FloatArray
    revises: FloatArray
    revises_implant: FloatArray
    wait: FloatArray
    wait_implant: FloatArray
    treats: FloatArray
    planned_removal: FloatArray


def draw_troubles(rng: np.random.Generator, baseline: Baseline) -> Troubles:
    """Draw the course of troubles, were they to come."""
    n = len(baseline.day)
    other = choose(rng.random(n), OTHER_SHARES)
    low, high = np.array(OTHER_DAYS, dtype=np.float64)[other].T
    day = np.floor(low + (high - low) * rng.random(n))
    serious = (other == DEEP) & (baseline.session == 0) & (rng.random(n) < 0.2)
    removal = np.where(rng.random(n) < 0.02, np.floor(120 + 160 * rng.random(n)), np.inf)
    return Troubles(
        other=other, other_day=np.where(other == NONE, np.inf, day),
        ends_by=np.where(serious, 1 + (rng.random(n) < 0.4), 0),
        reluxation_grade=1 + choose(rng.random(n), (0.45, 0.36, 0.16, 0.03)),
        kind_draw=rng.random(n), revises=rng.random(n), revises_implant=rng.random(n),
        wait=np.ceil(2 + rng.gamma(2.0, 7.0, n)).clip(3, 60),
        wait_implant=np.ceil(rng.gamma(2.0, 3.0, n)).clip(1, 40),
        treats=rng.random(n), planned_removal=removal,
    )  # fmt: skip


def implant_kind(
    troubles: Troubles, technique: Technique, *, effects: Effects, band: BoolArray | None = None
) -> IntArray:
    """Say which implant complication it is, by what was placed."""
    banded = technique.band if band is None else band
    with_band = (1 - effects.band_irritation) * np.array(SHARES_WITH)
    with_band[IRRITATION] = effects.band_irritation
    shares = np.where(banded[:, None], with_band, np.array(SHARES_WITHOUT))
    shares = np.where(technique.pinned[:, None], shares, np.array(SHARES_SCREW))
    return choose(troubles.kind_draw, shares)


def revision_day(
    detected: FloatArray, revises: FloatArray, *, share: FloatArray, wait: FloatArray
) -> FloatArray:
    """Day of the operation that follows a detected trouble; infinite where none follows."""
    return np.where(np.isfinite(detected) & (revises < share), detected + wait, np.inf)
