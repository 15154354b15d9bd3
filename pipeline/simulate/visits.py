"""Who comes back and when: planned rechecks, calls, and visits that a problem brings about."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from pipeline.simulate.baseline import Baseline
from pipeline.simulate.clinics import CLINICS
from pipeline.simulate.draws import BoolArray, IntArray, chance
from pipeline.simulate.latent import Latent

# Planned rechecks at about 6 weeks, 3, 6 and 12 months: centre and spread in days.
PLAN = ((42, 4), (87, 6), (178, 8), (355, 9))
THREE_MONTHS = 1
CLINIC, OTHER_VETERINARIAN, TELEPHONE = 0, 1, 2
MODES = ("operating_clinic", "other_veterinarian", "telephone")
OWNER_RETURNS_UNTIL = 680  # days; later troubles are seen elsewhere or not at all
INFINITY = np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Attendance:
    """What brings owners back, so that its part in an estimate can be found by leaving it out.

    Attributes
    ----------
    unwell_comes
        By how much trouble raises the log odds of keeping a planned visit.
    comes_by_itself
        Share of troubles that bring about a visit of their own.
    every_visit
        Every planned visit is kept, whatever the clinic's follow-up is like.
    """

    unwell_comes: float = 0.4
    comes_by_itself: float = 0.4
    every_visit: bool = False


AS_CLINICS = Attendance()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VisitDraws:
    """The luck of coming back, per stifle; shared within a session.

    `planned` (n, 4) days of the plan, infinite where the clinic has none; `stays` and `comes`
    (n, 4) uniforms; `late` and `call` days, infinite if there is none; `modes` (n, 5).
    """

    planned: FloatArray
    stays: FloatArray
    comes: FloatArray
    late: FloatArray
    call: FloatArray
    modes: IntArray
    delay_reluxation: FloatArray
    delay_implant: FloatArray


def draw_visits(
    rng: np.random.Generator, baseline: Baseline, attendance: Attendance = AS_CLINICS
) -> VisitDraws:
    """Draw the plan of rechecks and the luck of keeping it."""
    n = len(baseline.day)
    shared = np.where(baseline.session == 1, baseline.first, np.arange(n))
    centre, spread = np.array(PLAN, dtype=np.float64).T
    jitter = np.clip(rng.standard_normal((n, 4)), -2.5, 2.5)
    planned = np.round(centre + spread * jitter)[shared]
    none = np.array([item.no_three_month_visit for item in CLINICS])[baseline.clinic]
    planned[none, THREE_MONTHS] = INFINITY
    late = np.where(rng.random(n) < 0.2, np.floor(540 + 185 * rng.random(n)), INFINITY)[shared]
    call = np.where(rng.random(n) < 0.28, np.floor(200 + 120 * rng.random(n)), INFINITY)[shared]
    comes_by_itself = rng.random((2, n)) < attendance.comes_by_itself
    delays = np.ceil(1 + rng.exponential(14.0, (2, n)))
    delay = np.where(comes_by_itself, delays, INFINITY)
    return VisitDraws(
        planned=_on_form(planned, baseline), stays=rng.random((n, 4))[shared],
        comes=rng.random((n, 4))[shared], late=_on_form(late, baseline),
        call=_on_form(call, baseline),
        modes=np.where(rng.random((n, 5)) < 0.1, OTHER_VETERINARIAN, CLINIC)[shared],
        delay_reluxation=delay[0], delay_implant=delay[1],
    )  # fmt: skip


def attended(
    draws: VisitDraws, baseline: Baseline, first_trouble: FloatArray,
    attendance: Attendance = AS_CLINICS,
) -> FloatArray:  # fmt: skip
    """Give the planned days that are kept, (n, 5) with the late visit, infinite if not kept.

    Each visit is kept only by those who kept the one before; who is unwell (`first_trouble`
    (n,), the day, of the animal) comes more readily, so the well are lost more often.
    """
    if attendance.every_visit:
        return full_attendance(draws)
    stay = np.array([item.stay for item in CLINICS])[baseline.clinic]
    trouble = np.minimum(first_trouble, first_trouble[baseline.partner])
    unwell = trouble[:, None] < draws.planned
    kept = np.cumprod(draws.stays < chance(stay + attendance.unwell_comes * unwell), axis=1).astype(
        bool
    )
    kept[:, 1:] &= draws.comes[:, 1:] < 0.94
    days = np.where(kept, draws.planned, INFINITY)
    return np.column_stack([days, np.where(kept[:, 3], draws.late, INFINITY)])


def full_attendance(draws: VisitDraws) -> FloatArray:
    """Give the planned days (n, 5) if every visit of the plan were kept."""
    return np.column_stack([draws.planned, draws.late])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Detected:
    """Days on which trouble was found, infinite if never, and whether it brought the visit."""

    reluxation: FloatArray
    implant: FloatArray
    reluxation_brought: BoolArray
    implant_brought: BoolArray


def detect(
    visits: FloatArray, draws: VisitDraws, *, latent: Latent, baseline: Baseline
) -> Detected:
    """Find trouble at the first visit after it began, `visits` (n, k) or one it brought about."""
    reluxation, implant = latent.reluxation, latent.implant
    own_reluxation = _own_visit(reluxation, draws.delay_reluxation, baseline)
    own_implant = _own_visit(implant, draws.delay_implant, baseline)
    found_reluxation = np.minimum(_next_visit(visits, reluxation), own_reluxation)
    found_implant = np.minimum(_next_visit(visits, implant), own_implant)
    by_implant = (found_implant == own_implant) & (reluxation <= own_implant) & (
        own_implant < found_reluxation
    )  # fmt: skip
    by_reluxation = (found_reluxation == own_reluxation) & (implant <= own_reluxation) & (
        own_reluxation < found_implant
    )  # fmt: skip
    found_reluxation = np.where(by_implant, own_implant, found_reluxation)
    found_implant = np.where(by_reluxation, own_reluxation, found_implant)
    return Detected(
        reluxation=found_reluxation, implant=found_implant,
        reluxation_brought=np.isfinite(own_reluxation) & (found_reluxation == own_reluxation),
        implant_brought=np.isfinite(own_implant) & (found_implant == own_implant),
    )  # fmt: skip


def _own_visit(trouble: FloatArray, delay: FloatArray, baseline: Baseline) -> FloatArray:
    back = _on_form(np.ceil(trouble + delay), baseline, up=True)
    return np.where(trouble < OWNER_RETURNS_UNTIL, back, INFINITY)


def _next_visit(visits: FloatArray, since: FloatArray) -> FloatArray:
    return np.where(visits >= since[:, None], visits, INFINITY).min(axis=1)


def _on_form(day: FloatArray, baseline: Baseline, *, up: bool = False) -> FloatArray:
    """Move days to what the clinic's form can say: whole weeks after the first operation."""
    weekly = np.array([item.weekly for item in CLINICS])[baseline.clinic]
    gap = baseline.gap if day.ndim == 1 else baseline.gap[:, None]
    weeks = (day + gap) / 7
    rounded = 7 * (np.ceil(weeks) if up else np.round(weeks)) - gap
    return np.where(weekly if day.ndim == 1 else weekly[:, None], rounded, day)
