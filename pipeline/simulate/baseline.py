"""Who is operated: animals, their stifles, and what was known before the operation."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.arrays import FloatArray
from pipeline.simulate.clinics import CLINICS, day_number
from pipeline.simulate.draws import BoolArray, IntArray, chance, choose
from pipeline.simulate.effects import Effects

# Breed, share among dogs (or cats), adult weight in kg: common practice, no source.
DOGS = (
    ("Chihuahua", 0.13, 2.7), ("Yorkshire Terrier", 0.15, 3.6), ("Pomeranian", 0.08, 3.2),
    ("Maltese", 0.07, 4.2), ("Toy Poodle", 0.07, 4.4), ("Jack Russell Terrier", 0.09, 6.9),
    ("Cavalier King Charles Spaniel", 0.06, 8.6), ("French Bulldog", 0.09, 11.4),
    ("Cocker Spaniel", 0.04, 12.8), ("Staffordshire Bull Terrier", 0.05, 16.5),
    ("Labrador Retriever", 0.06, 29.5), ("crossbreed", 0.11, 8.0),
)  # fmt: skip
CATS = (("Domestic Shorthair", 0.7, 4.3), ("British Shorthair", 0.2, 4.7), ("Maine Coon", 0.1, 5.3))
BREEDS = DOGS + CATS
KG_PER_POUND = 0.45359237
SPECIES = ("dog", "cat")
SIDES = ("left", "right")
SEXES = ("female_entire", "female_neutered", "male_entire", "male_neutered")
DIRECTIONS = ("medial", "lateral")
CRUCIATE = ("intact", "partial_rupture", "complete_rupture")
EARLIER = ("none", "cruciate", "fracture", "other")
SESSIONS = ("unilateral", "bilateral_same_session", "bilateral_staged")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Baseline:
    """One entry per operated stifle, ordered by animal and day; codes index the tuples above.

    `day` counts from the simulation's epoch; `gap` is days since the animal's first operation;
    `first` is the position of the animal's first stifle and `partner` that of the stifle
    operated in the same session (else itself); `frailty` is a log hazard.
    """

    animal: IntArray
    clinic: IntArray
    session: IntArray
    first: IntArray
    partner: IntArray
    other: IntArray
    side: IntArray
    day: IntArray
    gap: IntArray
    breed: IntArray
    cat: BoolArray
    sex: IntArray
    age_months: FloatArray
    weight_kg: FloatArray
    bcs: IntArray
    direction: IntArray
    grade: IntArray
    lameness: IntArray
    cruciate: IntArray
    earlier: IntArray
    frailty: FloatArray

    @property
    def year(self) -> FloatArray:
        """Years since 2019, with fractions, at surgery."""
        return (self.day - 1461) / 365.25


def draw_baseline(rng: np.random.Generator, n: int, *, effects: Effects) -> Baseline:
    """Draw animals of five clinics until exactly `n` stifles were operated."""
    session, animal = _joints(rng, n)
    first = np.searchsorted(animal, animal)
    second = np.arange(n) > first
    is_pair = session > 0
    other = np.where(is_pair, np.where(second, first, np.minimum(first + 1, n - 1)), first)
    clinic = choose(rng.random(n), [item.share for item in CLINICS])[first]
    signalment = _signalment(rng, clinic, first)
    day, gap = _days(rng, clinic, session=session, first=first, second=second)
    left_first = (rng.random(n) < 0.5)[first]
    side = np.where(second, left_first, ~left_first).astype(np.int64)
    age = np.exp(rng.normal(np.log(27), 0.62, n))[first]
    weight = signalment[2] * np.where(second & (gap > 0), rng.normal(1.01, 0.02, n), 1.0)
    direction, grade, lameness = _luxation(rng, signalment[2], first=first, second=second)
    cruciate = choose(rng.random(n), np.stack([1 + 0 * age, 0.02 + age / 900, age / 1800], axis=1))
    drawn = Baseline(
        animal=animal, clinic=clinic, session=session, first=first,
        partner=np.where(session == 1, other, np.arange(n)), other=other, side=side, day=day,
        gap=gap, breed=signalment[0], cat=signalment[1], sex=signalment[3],
        age_months=np.clip(age, 6.3, 130) + gap / 30.4375,
        weight_kg=np.round(np.clip(weight, 1.6, 48), 2), bcs=signalment[4],
        direction=direction, grade=grade, lameness=lameness, cruciate=cruciate,
        earlier=choose(rng.random(n), (0.965, 0.012, 0.008, 0.015)),
        frailty=effects.frailty_sd * rng.standard_normal(n)[first],
    )  # fmt: skip
    return as_recorded(drawn)


def as_recorded(baseline: Baseline) -> Baseline:
    """Round ages and weights to what each clinic writes down: pounds, whole months, days."""
    clinic, age, kg = baseline.clinic, baseline.age_months, baseline.weight_kg
    pounds = np.round(np.round(kg / KG_PER_POUND, 1) * KG_PER_POUND, 6)
    by_birthday = np.round(age * 30.4375) / 30.4375
    in_years = np.round(np.round(age / 12, 2) * 12, 6)
    months = np.floor(age)
    tenth = np.round(kg, 1)
    return replace(
        baseline,
        age_months=np.choose(clinic, [by_birthday, in_years, months, months, months]),
        weight_kg=np.choose(clinic, [tenth, np.round(kg, 2), tenth, pounds, np.round(kg, 2)]),
    )


def _joints(rng: np.random.Generator, n: int) -> tuple[IntArray, IntArray]:
    # n animals are more than enough for n stifles; a pair cut at the end becomes one stifle.
    session = choose(rng.random(n), (0.62, 0.2, 0.18))
    stifles = np.where(session > 0, 2, 1)
    animal = np.repeat(np.arange(n), stifles)[:n]
    alone = animal[-1:] != animal[-2:-1]
    joint_session = session[animal]
    if n == 1 or alone.all():
        joint_session[-1] = 0
    return joint_session, animal


def _signalment(
    rng: np.random.Generator, clinic: IntArray, first: IntArray
) -> tuple[IntArray, BoolArray, FloatArray, IntArray, IntArray]:
    n = len(clinic)
    cat = (rng.random(n) < np.array([item.cats for item in CLINICS])[clinic])[first]
    adult = np.array([kg for _, _, kg in BREEDS])
    share = np.array([part for _, part, _ in BREEDS])
    is_cat = np.arange(len(BREEDS)) >= len(DOGS)
    heavy = np.array([item.heavy for item in CLINICS])[clinic][:, None]
    weights = share * np.exp(heavy * (np.log(adult) - np.log(5))) * (is_cat == cat[:, None])
    breed = choose(rng.random(n), weights)[first]
    spread = np.clip(rng.standard_normal(n), -2.4, 2.4)[first]
    weight = adult[breed] * np.exp(0.15 * spread)
    bcs = np.clip(np.round(5.2 + 1.2 * spread / 2 + rng.normal(0, 0.7, n)[first]), 3, 8)
    sex = choose(rng.random(n), (0.2, 0.34, 0.2, 0.26))[first]
    return breed, cat, weight, sex, bcs.astype(np.int64)


def _days(
    rng: np.random.Generator, clinic: IntArray, *, session: IntArray, first: IntArray,
    second: BoolArray,
) -> tuple[IntArray, IntArray]:  # fmt: skip
    opens = np.array([day_number(item.first_day) for item in CLINICS])[clinic]
    closes = np.array([day_number(item.last_day) for item in CLINICS])[clinic]
    wait = (35 + np.floor(rng.gamma(2.0, 45.0, len(clinic)))).clip(35, 400).astype(np.int64)[first]
    wait = np.where(session == 2, wait, 0)
    start = opens + np.floor(rng.random(len(clinic))[first] * (closes - opens - wait - 3))
    start = _weekday(start.astype(np.int64))
    day = np.where(second & (session == 2), _weekday(start + wait), start)
    return day, day - start


def _weekday(day: IntArray) -> IntArray:
    # The epoch, 1 January 2015, was a Thursday; operations at the weekend move to Monday.
    weekday = (day + 3) % 7
    return day + np.where(weekday == 5, 2, np.where(weekday == 6, 1, 0))


def _luxation(
    rng: np.random.Generator, weight: FloatArray, *, first: IntArray, second: BoolArray
) -> tuple[IntArray, IntArray, IntArray]:
    n = len(weight)
    lateral = rng.random(n) < chance(-3.6 + 0.35 * (np.log(weight) - 1.7))
    severity = 0.75 * rng.standard_normal(n)[first] + 0.66 * rng.standard_normal(n)
    grade = 1 + np.searchsorted((-2.3, 0.05, 1.3), severity)
    lameness = np.clip(np.round(grade - 0.3 + rng.normal(0, 0.8, n)), np.where(grade == 4, 1, 0), 4)
    return (
        np.where(second, lateral[first], lateral).astype(np.int64),
        grade.astype(np.int64),
        lameness.astype(np.int64),
    )
