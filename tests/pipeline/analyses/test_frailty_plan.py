"""A shared frailty through a plan: rows, concerns, what is refused."""

from typing import Any

import numpy as np
import polars as pl
import pytest

from shared.errors import PlanError
from tests.pipeline.analyses.asked import only, run

ASKED: dict[str, Any] = {
    "model": "frailty", "time": "day", "event": "state", "event_of_interest": "reluxation",
    "competing": ["death"], "censored": "censored", "exposure": "arm",
    "levels": ["wedge", "block"], "adjust_for": ["grade"], "random_intercept": "animal_id",
}  # fmt: skip


@pytest.fixture(scope="module")
def stifles() -> pl.DataFrame:
    """Invented: 120 animals with two stifles each in 6 clinics; one grade is not known."""
    draw = np.random.default_rng(2)
    animal = np.repeat(np.arange(120), 2)
    block = draw.random(240) < 0.5
    rate = draw.gamma(1.25, 0.8, 120)[animal] * np.exp(-0.7 * block) / 400
    day, end = np.ceil(draw.exponential(size=240) / rate), draw.integers(200, 500, 240)
    left = np.where(draw.random(240) < 0.1, "death", "censored")
    return pl.DataFrame({
        "animal_id": [f"a{one:03d}" for one in animal],
        "clinic_id": [f"c{one % 6}" for one in animal],
        "arm": np.where(block, "block", "wedge"), "day": np.minimum(day, end),
        "grade": [None, *draw.integers(1, 4, 239).tolist()],
        "state": np.where(day <= end, "reluxation", left),
    })  # fmt: skip


def test_ratios_within_animals_and_how_far_animals_lie_apart(stifles: pl.DataFrame) -> None:
    found = run(stifles, **ASKED)
    between = run(stifles, **{**{key: value for key, value in ASKED.items()
                                 if key != "random_intercept"},
                              "model": "cox", "cluster": "animal_id"})  # fmt: skip
    asked = {"measure": "hazard_ratio", "level": "block", "adjustment": "adjusted"}
    within = only(found, **asked)
    assert within["low"] < within["estimate"] < only(between, **asked)["estimate"] < 1
    assert (within["n"], within["clusters"], within["n_dropped"]) == (239, 120, 1)
    assert within["concerns"] == ""
    variance = only(found, measure="frailty_variance", adjustment="adjusted")
    assert 0 < variance["low"] < variance["estimate"] < variance["high"]
    assert variance["term"] == "animal_id"
    tau = only(found, measure="rank_correlation", adjustment="adjusted")["estimate"]
    assert tau == pytest.approx(variance["estimate"] / (variance["estimate"] + 2))
    test = only(found, measure="test", level="no_variance", adjustment="adjusted")
    assert test["p_value"] < 0.05
    heights = [only(found, measure=measure, adjustment="adjusted")["estimate"]
               for measure in ("log_likelihood", "log_likelihood_without")]  # fmt: skip
    assert test["statistic"] == pytest.approx(2 * (heights[0] - heights[1]))


def test_few_clinics_are_said_and_animals_within_them(stifles: pl.DataFrame) -> None:
    found = run(stifles, **ASKED | {"random_intercept": "clinic_id", "adjustments": ["crude"]})
    row = only(found, measure="hazard_ratio", level="block")
    assert {"few_clusters", "clusters_ignored"} <= set(row["concerns"].split(";"))


def test_a_term_that_separates_in_time_is_named_and_nothing_is_printed(
    stifles: pl.DataFrame,
) -> None:
    apart = stifles.with_columns(
        state=pl.when(pl.col("arm") == "block").then(pl.lit("censored")).otherwise("state")
    )
    found = run(apart, **ASKED | {"adjustments": ["crude"]})
    row = only(found, measure="hazard_ratio", level="block")
    assert row["estimate"] is None
    assert {"separation", "not_identified"} <= set(row["concerns"].split(";"))
    assert found.filter(pl.col("measure") == "frailty_variance").is_empty()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"random_intercept": "litter"}, 'random_intercept names the column "litter"'),
        ({"cluster": "animal_id"}, 'does not use "cluster"'),
        ({"entry": "day"}, 'does not use "entry"'),
        ({"ties": "exact"}, 'the model "frailty" has no exact ties'),
        ({"exposure": None, "levels": None, "adjust_for": None}, "there is no term"),
    ],
)
def test_what_does_not_fit_is_named(
    stifles: pl.DataFrame, change: dict[str, Any], words: str
) -> None:
    asked = {key: value for key, value in (ASKED | change).items() if value is not None}
    with pytest.raises(PlanError, match=words):
        run(stifles, **asked)
