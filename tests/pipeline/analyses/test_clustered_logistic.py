"""Random intercepts and estimating equations through a plan: rows, concerns, what is refused."""

from typing import Any

import numpy as np
import polars as pl
import pytest

from shared.errors import PlanError
from tests.pipeline.analyses.asked import only, run

MIXED: dict[str, Any] = {
    "model": "mixed_logistic", "outcome": "event", "exposure": "arm", "levels": ["wedge", "block"],
    "adjust_for": ["grade"], "random_intercept": "animal_id",
}  # fmt: skip
GEE: dict[str, Any] = {
    **{key: value for key, value in MIXED.items() if key != "random_intercept"},
    "model": "gee_logistic", "cluster": "animal_id",
}  # fmt: skip


@pytest.fixture(scope="module")
def stifles() -> pl.DataFrame:
    """Invented: 120 animals with two stifles each in 6 clinics; one outcome is not known."""
    draw = np.random.default_rng(1)
    animal = np.repeat(np.arange(120), 2)
    block = draw.random(240) < 0.5
    odds = -0.5 - 0.7 * block + 1.2 * draw.normal(size=120)[animal]
    event = (draw.random(240) < 1 / (1 + np.exp(-odds))).astype(int)
    return pl.DataFrame({
        "animal_id": [f"a{one:03d}" for one in animal],
        "clinic_id": [f"c{one % 6}" for one in animal],
        "arm": np.where(block, "block", "wedge"), "grade": draw.integers(1, 4, 240),
        "event": [None, *event[1:].tolist()],
    })  # fmt: skip


def test_ratios_within_animals_lie_further_out_than_those_between(stifles: pl.DataFrame) -> None:
    within, between = run(stifles, **MIXED), run(stifles, **GEE)
    for adjustment in ("crude", "adjusted"):
        asked: dict[str, str] = {
            "measure": "odds_ratio",
            "level": "block",
            "adjustment": adjustment,
        }
        one, other = only(within, **asked), only(between, **asked)
        assert one["estimate"] < other["estimate"] < 1
        assert one["low"] < one["estimate"] < one["high"]
        assert (one["n"], one["clusters"], one["n_dropped"]) == (239, 120, 1)
        assert one["concerns"] == "outcome_selected_by_follow_up"
    spread = only(within, measure="random_intercept_sd", adjustment="adjusted")
    assert 0 < spread["low"] < spread["estimate"] < spread["high"]
    assert spread["term"] == "animal_id"
    assert only(within, measure="test", level="no_spread", adjustment="crude")["p_value"] < 0.5
    assert 0 < only(between, measure="cluster_correlation", adjustment="crude")["estimate"] < 1


def test_few_clinics_are_said_and_animals_within_them_minded(stifles: pl.DataFrame) -> None:
    mixed = run(stifles, **MIXED | {"random_intercept": "clinic_id", "adjustments": ["crude"]})
    row = only(mixed, measure="odds_ratio", level="block")
    assert {"few_clusters", "clusters_ignored"} <= set(row["concerns"].split(";"))
    gee = run(stifles, **GEE | {"cluster": "clinic_id", "adjustments": ["crude"]})
    row = only(gee, measure="odds_ratio", level="block")
    assert "clusters_ignored" not in row["concerns"]
    assert row["df"] == 4
    assert "bias-reduced" in row["method"]


@pytest.mark.parametrize("asked", [MIXED, GEE])
def test_a_separated_term_is_named_and_nothing_is_printed(
    stifles: pl.DataFrame, asked: dict[str, Any]
) -> None:
    known = stifles.drop_nulls()
    apart = known.with_columns(event=(pl.col("arm") == "block").cast(pl.Int64))
    results = run(apart, **asked | {"adjustments": ["crude"]})
    ratio = only(results, measure="odds_ratio", level="block")
    assert ratio["estimate"] is None
    assert "separation" in ratio["concerns"]
    numbers = results.filter(pl.col("measure").is_in(["odds_ratio", "coefficient"]))["estimate"]
    assert numbers.null_count() == len(numbers) == 4


@pytest.mark.parametrize("asked", [MIXED, GEE])
def test_a_cluster_a_row_and_no_event_give_no_number(
    stifles: pl.DataFrame, asked: dict[str, Any]
) -> None:
    alone = stifles.with_columns(animal_id=pl.int_range(pl.len()).cast(pl.String))
    none = stifles.with_columns(event=pl.lit(0))
    for frame, concern in ((alone, "one_row_a_cluster"), (none, "no_events")):
        row = only(run(frame, **asked | {"adjustments": ["crude"]}),
                   measure="odds_ratio", level="block")  # fmt: skip
        assert row["estimate"] is None
        assert concern in row["concerns"]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({**MIXED, "random_intercept": "litter"}, 'random_intercept names the column "litter"'),
        ({key: value for key, value in MIXED.items() if key != "random_intercept"},
         'needs "random_intercept"'),
        ({key: value for key, value in GEE.items() if key != "cluster"}, 'needs "cluster"'),
        ({**MIXED, "cluster": "animal_id"}, 'does not use "cluster"'),
        ({"model": "gee_logistic", "outcome": "event", "cluster": "animal_id"}, "there is no term"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(
    stifles: pl.DataFrame, asked: dict[str, Any], words: str
) -> None:
    with pytest.raises(PlanError, match=words):
        run(stifles, **asked)
