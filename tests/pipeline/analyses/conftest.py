"""An invented cohort with the columns of the real one, and a study that asks it something."""

from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.analyse import Analysed, analyse
from pipeline.study import Comparison, Eligibility, Outcomes, Privacy, Statements, Study

N_ANIMALS = 260
ADJUST = ["grade_preop", "log_weight_kg", "age_months", "clinic_id"]
RELUXATION: dict[str, Any] = {
    "time": "relux_day", "event": "relux_state", "event_of_interest": "reluxation",
    "competing": ["death", "other_revision"], "censored": "censored", "population": "B",
    "exposure": "sulcoplasty_type", "levels": ["wedge_recession", "block_recession"],
    "adjust_for": ADJUST, "categorical": {"clinic_id": "most_frequent"},
    "cluster": "animal_id",
}  # fmt: skip
BY_YEAR: dict[str, Any] = {
    "outcome": "relux_by_365", "missing_outcome": "observation_weights", "population": "B",
    "exposure": "sulcoplasty_type", "levels": ["wedge_recession", "block_recession"],
    "adjust_for": ADJUST, "categorical": {"clinic_id": "most_frequent"},
    "cluster": "animal_id", "resamples": 100,
}  # fmt: skip


def invent_cohort(seed: int = 1) -> pl.DataFrame:
    """About a third of the animals have two operated stifles; nothing here is a real animal."""
    draw = np.random.default_rng(seed)
    both = draw.random(N_ANIMALS) < 0.35
    animal = np.repeat(np.arange(N_ANIMALS), np.where(both, 2, 1))
    n = len(animal)
    frailty = draw.normal(0, 0.5, N_ANIMALS)[animal]
    clinic = np.array(["lake", "north", "valley"])[draw.integers(0, 3, N_ANIMALS)[animal]]
    grade = draw.choice([2, 3, 4], n, p=[0.4, 0.4, 0.2])
    log_weight = draw.normal(1.8, 0.6, N_ANIMALS)[animal]
    technique = draw.choice(["wedge_recession", "block_recession", "none"], n, p=[0.45, 0.4, 0.15])
    hazard = 0.0012 * np.exp(-0.6 * (technique == "block_recession") + 0.5 * (grade - 3) + frailty)
    event = draw.exponential(1 / hazard)
    death = draw.exponential(1 / 0.0003, n)
    lost = draw.choice([42, 56, 84, 180, 365, 400, 700], n)
    day = np.ceil(np.minimum.reduce([event, death, lost])).astype(int)
    state = np.where(
        day == np.ceil(event), "reluxation",
        np.where(day == np.ceil(death), "death", "censored"),
    )  # fmt: skip
    held = draw.random(n) < 0.02
    by_365 = [
        None if gone else True if how == "reluxation" and when <= 365
        else False if (how != "censored" and when <= 365) or when >= 337 else None
        for gone, how, when in zip(held, state, day, strict=True)
    ]  # fmt: skip
    first = np.append(True, animal[1:] != animal[:-1])
    frame = pl.DataFrame(
        {
            "stifle_id": [f"s{place:04d}" for place in range(n)],
            "animal_id": [f"a{number:04d}" for number in animal],
            "clinic_id": clinic,
            "left_at": pl.Series(np.where(draw.random(n) < 0.05, "species", "")).replace("", None),
            "first_joint": first,
            "grade_preop": grade,
            "log_weight_kg": log_weight,
            "age_months": draw.integers(6, 120, n),
            "sulcoplasty_type": technique,
            "tension_band_done": draw.random(n) < 0.6,
            "relux_day": day,
            "relux_state": state,
            "relux_held": held,
            "relux_by_365": pl.Series(by_365, dtype=pl.Boolean),
        }
    )
    known = pl.when(~pl.col("relux_held"))
    last = pl.col("relux_day")
    return frame.with_columns(
        pl.lit(value=True).alias("set_a"), pl.lit(value=True).alias("set_b"),
        pl.col("first_joint").alias("set_c"), pl.col("tension_band_done").alias("set_d"),
        known.then(last).alias("relux_day"),
        known.then(pl.col("relux_state")).alias("relux_state"),
        last.alias("relux_day_held_event"), last.alias("relux_day_held_free"),
        known.then(pl.col("relux_state")).otherwise(pl.lit("reluxation"))
        .alias("relux_state_held_event"),
        known.then(pl.col("relux_state")).otherwise(pl.lit("censored"))
        .alias("relux_state_held_free"),
    ).with_columns(pl.col("left_at").replace("", None))  # fmt: skip


@pytest.fixture(scope="session")
def invented_cohort() -> pl.DataFrame:
    return invent_cohort()


@pytest.fixture(scope="session")
def small_study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """Ask the primary question by each model of this version."""
    return Study(
        title="An invented study", question="Does it run?", seed=1, codebook_version="",
        eligibility=Eligibility(), outcomes=Outcomes(), comparison=Comparison(), privacy=Privacy(),
        statements=Statements(), clinics=("lake", "north", "valley"), raw={},
        analyses=(
            {"id": "risk", "role": "primary", "model": "cumulative_incidence", **RELUXATION,
             "horizon": [91, 365], "resamples": 100},
            {"id": "hazard", "role": "primary", "model": "cox", **RELUXATION},
            {"id": "year", "role": "secondary", "model": "logistic", **BY_YEAR},
            {"id": "curve", "model": "kaplan_meier", "time": "relux_day", "event": "relux_state",
             "event_of_interest": "reluxation", "competing": ["death", "other_revision"],
             "censored": "censored", "exposure": "tension_band_done", "horizon": [365]},
            {"id": "groups", "model": "log_rank", "time": "relux_day", "event": "relux_state",
             "event_of_interest": "reluxation", "competing": ["death", "other_revision"],
             "censored": "censored", "exposure": "tension_band_done", "cluster": "animal_id"},
            {"id": "shares", "model": "risks", "outcome": "relux_by_365",
             "exposure": "tension_band_done", "cluster": "animal_id"},
        ),
        folder=tmp_path_factory.mktemp("study"),
    )  # fmt: skip


@pytest.fixture(scope="session")
def analysed(invented_cohort: pl.DataFrame, small_study: Study) -> Analysed:
    """The results of that study."""
    return analyse(invented_cohort, small_study)
