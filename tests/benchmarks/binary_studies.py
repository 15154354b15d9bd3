"""Invented studies of a yes/no outcome with few events, pairs of knees and five clinics.

Two knees of an animal share their fate through a normal copula, so that the marginal logistic
model, and with it the odds ratio, holds exactly. Nothing here is a real animal.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import polars as pl
from scipy.optimize import root_scalar
from scipy.special import expit, ndtri

from analysis.arrays import FloatArray

EVENTS = (14, 20, 28, 40)  # expected in a study of 7 parameters: 2 to 5.7 for each
MORE_EVENTS = 60  # 8.6 for each, beside them: where the warning ends
RISK = 0.12
LOG_ODDS_RATIO = float(np.log(0.5))
OTHER = (0.5, 0.4)  # per grade, per unit of log weight
CLINICS = ("harbour", "lake", "north", "plateau", "valley")
CLINIC_SHARE = (0.34, 0.24, 0.2, 0.12, 0.1)
CLINIC_SHIFT = (0.0, 0.3, -0.3, 0.5, -0.2)
CLINIC_EXPOSED = (0.5, 0.35, 0.6, 0.45, 0.65)
BOTH_KNEES, SAME_ARM, LATENT_CORRELATION = 0.35, 0.8, 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What the estimators are to find."""

    intercept: float
    risk_difference: float
    log_risk_ratio: float


def covariates(rng: np.random.Generator, animals: int) -> dict[str, FloatArray]:
    """Draw animals with one or two knees: clinic, arm, grade, log weight; one entry a knee."""
    knees = 1 + (rng.random(animals) < BOTH_KNEES)
    animal = np.repeat(np.arange(animals), knees)
    clinic = rng.choice(5, animals, p=CLINIC_SHARE)[animal]
    first = rng.random(animals)[animal]
    own = rng.random(len(animal))
    drawn = np.where(rng.random(len(animal)) < SAME_ARM, first, own)
    return {
        "animal": animal.astype(float), "clinic": clinic.astype(float),
        "log_weight": rng.normal(1.8, 0.6, animals)[animal],
        "grade": rng.choice([2.0, 3.0, 4.0], len(animal), p=[0.4, 0.4, 0.2]),
        "arm": (drawn < np.asarray(CLINIC_EXPOSED)[clinic]).astype(float),
    }  # fmt: skip


def rest(drawn: dict[str, FloatArray]) -> FloatArray:
    """Give what all terms but the arm add to the log odds."""
    shift = np.asarray(CLINIC_SHIFT)[drawn["clinic"].astype(int)]
    return shift + OTHER[0] * (drawn["grade"] - 3) + OTHER[1] * (drawn["log_weight"] - 1.8)


@cache
def truth() -> Truth:
    """Work out the intercept of the wanted risk, and the standardised contrasts it implies."""
    drawn = covariates(np.random.default_rng(0), 400_000)
    others = rest(drawn)
    seen = others + LOG_ODDS_RATIO * drawn["arm"]
    found = root_scalar(lambda value: expit(value + seen).mean() - RISK, bracket=(-8.0, 2.0))
    intercept = float(found.root)
    one = float(expit(intercept + others + LOG_ODDS_RATIO).mean())
    zero = float(expit(intercept + others).mean())
    return Truth(
        intercept=intercept, risk_difference=one - zero, log_risk_ratio=float(np.log(one / zero))
    )


def invent_study(seed: int, events: int) -> pl.DataFrame:
    """Draw one study with `events` expected; the number that happens is drawn too."""
    rng = np.random.default_rng([seed, events])
    animals = round(events / RISK / (1 + BOTH_KNEES))
    drawn = covariates(rng, animals)
    risk = expit(truth().intercept + rest(drawn) + LOG_ODDS_RATIO * drawn["arm"])
    n, animal = len(risk), drawn["animal"].astype(int)
    shared, own = rng.normal(size=animals)[animal], rng.normal(size=n)
    latent = np.sqrt(LATENT_CORRELATION) * shared + np.sqrt(1 - LATENT_CORRELATION) * own
    return pl.DataFrame(
        {
            "stifle_id": [f"s{place:04d}" for place in range(n)],
            "animal_id": [f"a{number:04d}" for number in animal],
            "clinic_id": [CLINICS[int(place)] for place in drawn["clinic"]],
            "arm": np.where(drawn["arm"] == 1, "new", "old"),
            "grade": drawn["grade"], "log_weight": drawn["log_weight"],
            "outcome": latent < ndtri(risk),
        }
    )  # fmt: skip
