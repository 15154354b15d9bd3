"""What is done: surgeon, sulcoplasty, transposition, wires and band, by house style and patient."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from pipeline.simulate.baseline import Baseline
from pipeline.simulate.clinics import CLINICS
from pipeline.simulate.draws import BoolArray, IntArray, chance, choose

SULCOPLASTY = (
    "none", "block_recession", "wedge_recession", "semicylindrical_recession", "abrasion",
)  # fmt: skip
NO_GROOVE, BLOCK, WEDGE, SEMICYLINDRICAL, ABRASION = range(5)
BRIDGES = ("intact", "cracked", "detached")
RELEASES = ("none", "retinaculum", "retinaculum_and_capsule", "with_sartorius")
FEMORAL = ("none", "closing_wedge")
REPAIRS = ("none", "extracapsular_suture")
MM_PER_INCH = 25.4
WIRES_MM = np.array([0.8, 1.0, 1.2, 1.4, 1.6])
WIRES_IN = np.array([0.035, 0.045, 0.045, 0.062, 0.062])
BANDS_MM = np.array([0.6, 0.8, 1.0])
BANDS_OF_GAUGE_MM = np.array([0.64, 0.8, 1.0])  # 22, 20 and 18 gauge


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Technique:
    """One entry per stifle; codes index the tuples above, `surgeon` the clinic's surgeons.

    `wires` is 0 without a transposition or with a screw; `two_wires`, `band` are meant where
    `pinned`, a transposition held with K-wires.
    """

    surgeon: IntArray
    sulcoplasty: IntArray
    ttt: BoolArray
    pinned: BoolArray
    two_wires: BoolArray
    band: BoolArray
    bridge: IntArray
    tibial_mm: FloatArray
    osteotomy_mm: FloatArray
    wire_mm: FloatArray
    band_mm: FloatArray
    transposition_mm: FloatArray
    groove_before_mm: FloatArray
    groove_after_mm: FloatArray
    release: IntArray
    imbrication: BoolArray
    suture: BoolArray
    femoral: IntArray
    repair: IntArray


def draw_technique(rng: np.random.Generator, baseline: Baseline) -> Technique:
    """Draw the operation of each stifle from its patient, surgeon, clinic and year."""
    n = len(baseline.day)
    surgeon = _surgeon(rng, baseline)
    osseous = baseline.grade > 1
    sulcoplasty = _sulcoplasty(rng, baseline, surgeon=surgeon)
    ttt = osseous & (
        (rng.random(n) < np.where(baseline.grade == 2, 0.84, 0.95))
        | ((sulcoplasty == NO_GROOVE) & (baseline.grade > 2))
    )
    pinned = ttt & (rng.random(n) > np.where(baseline.weight_kg > 10, 0.12, 0.02))
    log_weight = np.log(baseline.weight_kg) - 1.8
    two_wires = rng.random(n) < chance(_style(baseline, surgeon, "two_wires") + 0.5 * log_weight)
    bridge = choose(rng.random(n), np.stack(
        [4.5 + 0 * log_weight, 0.75 * np.exp(0.25 * log_weight), 0.32 + 0 * log_weight], axis=1,
    ))  # fmt: skip
    pull = np.array([0.0, 1.4, 3.6])[bridge]
    band = rng.random(n) < chance(_style(baseline, surgeon, "band") + pull + 0.7 * log_weight)
    sizes = _sizes(rng, baseline, two_wires=two_wires)
    before = np.round(0.55 * baseline.weight_kg**0.4 * np.exp(rng.normal(0, 0.25, n)), 1)
    after = np.round(before + 1.1 * baseline.weight_kg**0.35 * np.exp(rng.normal(0, 0.2, n)), 1)
    return Technique(
        surgeon=surgeon, sulcoplasty=sulcoplasty, ttt=ttt, pinned=pinned, two_wires=two_wires,
        band=band, bridge=bridge, tibial_mm=sizes[0], osteotomy_mm=sizes[1], wire_mm=sizes[2],
        band_mm=_band_mm(baseline),
        transposition_mm=np.round(np.clip(sizes[0] * rng.normal(0.22, 0.04, n), 1.2, 6.5), 1),
        groove_before_mm=before.clip(0.3, 5), groove_after_mm=after.clip(1.2, 8),
        release=choose(rng.random(n), (0.25, 0.4, 0.25, 0.1)),
        imbrication=rng.random(n) < np.where(osseous, 0.72, 1.0), suture=rng.random(n) < 0.12,
        femoral=((baseline.weight_kg >= 10.5) & ~baseline.cat & (baseline.grade > 2)
                 & (rng.random(n) < 0.22)).astype(np.int64),
        repair=((baseline.cruciate > 0) & (rng.random(n) < 0.8)).astype(np.int64),
    )  # fmt: skip


def _surgeon(rng: np.random.Generator, baseline: Baseline) -> IntArray:
    count = np.array([len(item.surgeons) for item in CLINICS])[baseline.clinic]
    same_session = np.where(baseline.session == 1, baseline.first, np.arange(len(count)))
    return np.floor(rng.random(len(count))[same_session] * count).astype(np.int64)


def _style(baseline: Baseline, surgeon: IntArray, name: str) -> FloatArray:
    most = max(len(item.surgeons) for item in CLINICS)
    table = np.zeros((len(CLINICS), most))
    for row, item in enumerate(CLINICS):
        odds = getattr(item, name)
        table[row, : len(odds)] = odds
    return table[baseline.clinic, surgeon]


def _sulcoplasty(rng: np.random.Generator, baseline: Baseline, *, surgeon: IntArray) -> IntArray:
    n = len(surgeon)
    block = rng.random(n) < chance(
        _style(baseline, surgeon, "block") + 0.5 * (np.log(baseline.weight_kg) - 1.8)
        + 0.35 * (baseline.grade - 2.5) + 0.12 * baseline.year
    )  # fmt: skip
    kind = choose(rng.random(n), (0.9, 0.05, 0.05))
    recession = np.where(block, BLOCK, WEDGE)
    done = np.choose(kind, [recession, np.full(n, SEMICYLINDRICAL), np.full(n, ABRASION)])
    deepened = rng.random(n) < np.array([0, 0, 0.86, 0.96, 0.99])[baseline.grade]
    return np.where(deepened, done, NO_GROOVE)


def _sizes(
    rng: np.random.Generator, baseline: Baseline, *, two_wires: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    # Osteotomy about one third of the tibial depth; a wire takes at most a third of the
    # fragment and both together at most half of it: common practice, no source.
    weight = baseline.weight_kg
    tibial = np.round(7.2 * weight**0.36 * np.exp(rng.normal(0, 0.05, len(weight))), 1)
    place = np.searchsorted((4.5, 8, 15, 30), weight)
    inches = np.array([item.in_inches for item in CLINICS])[baseline.clinic]
    wire = np.where(inches, WIRES_IN[place] * MM_PER_INCH, WIRES_MM[place])
    wished = tibial * np.clip(rng.normal(0.345, 0.035, len(weight)), 0.25, 0.45)
    needed = wire * np.where(two_wires, 4.0, 3.0) + 0.1
    depth = np.maximum(wished, np.minimum(needed, 0.48 * tibial)).round(1).astype(np.float64)
    return tibial, depth, wire


def _band_mm(baseline: Baseline) -> FloatArray:
    gauge = np.array([item.in_inches for item in CLINICS])[baseline.clinic]
    place = np.searchsorted((5, 15), baseline.weight_kg)
    return np.where(gauge, BANDS_OF_GAUGE_MM[place], BANDS_MM[place])
