"""Invented studies of a day that is found at rechecks: pairs of knees, 20 clinics, deaths.

Two knees of an animal share their fate through a normal copula, so that the proportional hazards
model of one knee holds exactly. What is true is worked out from the law of the invention, by
quadrature over its cells, never from a fit. Nothing here is a real animal.
"""

from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
import polars as pl
from scipy.optimize import root_scalar
from scipy.special import log_ndtr, ndtri

from analysis.arrays import FloatArray

EVENTS = (40, 80, 160)  # begun by one year, expected in a study; 22 parameters
RISK, YEAR = 0.15, 365.0
LOG_HAZARD_RATIO, PER_GRADE, SHAPE = float(np.log(0.6)), 0.5, 0.7  # hazards fall with time
DEATHS = 0.05  # within a year
CLINICS = 20
CLINIC_SHARE = np.linspace(1.5, 0.5, CLINICS) / CLINICS
CLINIC_SHIFT = 0.4 * ndtri((np.arange(CLINICS) * 7 % CLINICS + 0.5) / CLINICS)
CLINIC_EXPOSED = 0.25 + 0.5 * (np.arange(CLINICS) * 3 % CLINICS) / (CLINICS - 1)
GRADES, GRADE_SHARE = (2, 3, 4), (0.4, 0.4, 0.2)
BOTH_KNEES, SAME_ARM, LATENT_CORRELATION = 0.35, 0.8, 0.6
VISITS = ((14, 3, 0.95), (42, 7, 0.9), (91, 14, 0.7), (183, 21, 0.6), (365, 25, 0.6))


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What the estimators are to find, and the scale of the invented hazard."""

    rate: float  # cumulative hazard at one year of a knee of grade 3 in the middle clinic
    risk_difference: float  # by one year, everyone in one arm less everyone in the other
    crude_risk_difference: float  # between the arms as they are, clinics unlike
    crude_mean_difference: float  # in days free of the event within a year, without deaths


def cells() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give share, share in the new arm and log hazard without the arm, of clinic and grade."""
    found = [
        (CLINIC_SHARE[clinic] * share, CLINIC_EXPOSED[clinic],
         CLINIC_SHIFT[clinic] + PER_GRADE * (grade - 3))
        for clinic, (grade, share) in product(range(CLINICS), zip(GRADES, GRADE_SHARE, strict=True))
    ]  # fmt: skip
    share, exposed, rest = np.array(found).T
    return share, exposed, rest


def risk_by_year(hazard: FloatArray) -> FloatArray:
    """Risk by one year, death competing, of rows with a cumulative hazard at one year."""
    place, weight = np.polynomial.legendre.leggauss(60)
    share = (place + 1) / 2  # of the cumulative hazard at one year
    alive = (1 - DEATHS) ** (share ** (1 / SHAPE))
    inner = hazard[:, None] * np.exp(-hazard[:, None] * share) * alive
    return np.asarray(inner @ weight / 2)


def _free_days(hazard: FloatArray) -> FloatArray:
    """Mean days free of the event within a year, if nobody died."""
    place, weight = np.polynomial.legendre.leggauss(60)
    share = ((place + 1) / 2) ** 2  # squared: the hazard is steep at the start
    inner = np.exp(-hazard[:, None] * share**SHAPE) * (place + 1)
    return YEAR * np.asarray(inner @ weight / 2)


@cache
def truth() -> Truth:
    """Work out the hazard of the wanted risk, and the contrasts it implies."""
    share, exposed, rest = cells()
    in_new, in_old = share * exposed, share * (1 - exposed)

    def mixed(log_rate: float) -> float:
        new = risk_by_year(np.exp(log_rate + rest + LOG_HAZARD_RATIO))
        return float(in_new @ new + in_old @ risk_by_year(np.exp(log_rate + rest)))

    log_rate = float(root_scalar(lambda value: mixed(value) - RISK, bracket=(-6.0, 2.0)).root)
    old, new = np.exp(log_rate + rest), np.exp(log_rate + rest + LOG_HAZARD_RATIO)
    new_share, old_share = in_new / in_new.sum(), in_old / in_old.sum()
    return Truth(
        rate=float(np.exp(log_rate)),
        risk_difference=float(share @ (risk_by_year(new) - risk_by_year(old))),
        crude_risk_difference=float(
            new_share @ risk_by_year(new) - old_share @ risk_by_year(old)),
        crude_mean_difference=float(new_share @ _free_days(new) - old_share @ _free_days(old)),
    )  # fmt: skip


def invent_study(seed: int, events: int) -> pl.DataFrame:
    """Draw one study; ``onset`` is what no clinic ever sees, the rest is what it has.

    ``day`` and ``state`` are those of detection; the event lies in (``left``, ``right``]. A knee
    that nobody palpated is no row.
    """
    rng = np.random.default_rng([seed, events])
    animals = round(events / RISK / (1 + BOTH_KNEES))
    animal = np.repeat(np.arange(animals), 1 + (rng.random(animals) < BOTH_KNEES))
    clinic = rng.choice(CLINICS, animals, p=CLINIC_SHARE)[animal]
    first, n = rng.random(animals)[animal], len(animal)
    drawn = np.where(rng.random(n) < SAME_ARM, first, rng.random(n))
    arm = drawn < CLINIC_EXPOSED[clinic]
    grade = rng.choice(GRADES, n, p=GRADE_SHARE)
    shared, own = rng.normal(size=animals)[animal], rng.normal(size=n)
    latent = np.sqrt(LATENT_CORRELATION) * shared + np.sqrt(1 - LATENT_CORRELATION) * own
    log_hazard = CLINIC_SHIFT[clinic] + PER_GRADE * (grade - 3) + LOG_HAZARD_RATIO * arm
    onset = YEAR * (-log_ndtr(-latent) / (truth().rate * np.exp(log_hazard))) ** (1 / SHAPE)
    death = rng.exponential(-YEAR / np.log1p(-DEATHS), animals)[animal]
    return _seen(
        pl.DataFrame(
            {
                "stifle_id": [f"s{place:04d}" for place in range(n)],
                "animal_id": [f"a{number:04d}" for number in animal],
                "clinic_id": [f"c{number:02d}" for number in clinic],
                "arm": np.where(arm, "new", "old"), "grade": grade.astype(float),
            }
        ),
        onset, death, _visits(rng, animals)[animal],
    )  # fmt: skip


def _visits(rng: np.random.Generator, animals: int) -> FloatArray:
    """Days of the visits of each animal, NaN where it did not come; shape (animals, 5)."""
    planned, spread, comes = np.array(VISITS).T
    days = np.round(planned + spread * rng.uniform(-1, 1, (animals, len(planned))))
    return np.where(rng.random(days.shape) < comes, days, np.nan)


def _seen(
    rows: pl.DataFrame, onset: FloatArray, death: FloatArray, visits: FloatArray
) -> pl.DataFrame:
    """Say what the visits show: the event at the first visit after it, a death on its day."""
    held = np.where(visits < death[:, None], visits, np.nan)
    found = np.where(held >= onset[:, None], held, np.inf)
    right = np.nanmin(np.where(np.isnan(found), np.inf, found), axis=1)
    stable = np.where(held < onset[:, None], held, -np.inf)
    left = np.nanmax(np.where(np.isnan(stable), -np.inf, stable), axis=1)
    last, luxated = np.maximum(left, 0.0), np.isfinite(right)
    dies = ~luxated & (death <= last + 91)  # counts soon after a visit only, as in a protocol
    day = np.where(luxated, right, np.where(dies, np.ceil(death), last))
    state = np.where(luxated, "reluxation", np.where(dies, "death", "censored"))
    return rows.with_columns(
        day=pl.Series(day), state=pl.Series(state), left=pl.Series(last),
        right=pl.Series(right).replace(float("inf"), None), onset=pl.Series(onset),
    ).filter(pl.Series(np.asarray(np.isfinite(held).any(axis=1))))  # fmt: skip
