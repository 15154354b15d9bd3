"""Risks of named stifles by a Cox model through a plan: arms, days, what is refused."""

from typing import Any

import numpy as np
import polars as pl
import pytest

from shared.errors import PlanError
from tests.pipeline.analyses.asked import only, run

ASKED: dict[str, Any] = {
    "model": "cox", "time": "day", "event": "removed", "exposure": "arm",
    "levels": ["wedge", "block"], "adjust_for": ["weight_kg"], "horizon": [91, 365],
    "profiles": {"small": {"weight_kg": 3}, "large, block": {"weight_kg": 30, "arm": "block"}},
}  # fmt: skip


@pytest.fixture(scope="module")
def stifles() -> pl.DataFrame:
    """Invented: implants removed, later in the block arm and in small dogs."""
    draw = np.random.default_rng(4)
    block, weight = draw.random(300) < 0.5, draw.uniform(2, 40, 300)
    day = np.ceil(draw.exponential(size=300) * 900 / np.exp(0.03 * weight - 0.6 * block))
    end = draw.integers(200, 700, 300)
    return pl.DataFrame({
        "arm": np.where(block, "block", "wedge"), "weight_kg": weight.round(1),
        "day": np.minimum(day, end), "removed": (day <= end).astype(int),
    })  # fmt: skip


def test_each_profile_has_a_risk_in_each_arm_by_each_day(stifles: pl.DataFrame) -> None:
    found = run(stifles, **ASKED).filter(pl.col("measure") == "profile_risk")
    assert len(found) == 6
    assert found["adjustment"].unique().to_list() == ["adjusted"]
    risk = {(row["group"], row["level"], row["day"]): row["estimate"]
            for row in found.iter_rows(named=True)}  # fmt: skip
    assert risk["small", "block", 91] < risk["small", "wedge", 91] < risk["small", "wedge", 365]
    assert risk["large, block", "block", 365] > risk["small", "block", 365]
    assert (found["low"] < found["estimate"]).all()
    assert (found["estimate"] < found["high"]).all()


def test_a_stretched_model_is_said(stifles: pl.DataFrame) -> None:
    asked = ASKED | {"horizon": [5000], "profiles": {"giant": {"weight_kg": 90, "arm": "block"}}}
    row = only(run(stifles, **asked), measure="profile_risk")
    assert row["estimate"] is None
    assert {"beyond_data", "beyond_follow_up"} <= set(row["concerns"].split(";"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"profiles": {"any": {"arm": "block"}}}, 'profile "any" gives no value for weight_kg'),
        ({"horizon": None}, "risks of profiles need their days"),
        ({"strata": ["arm"], "exposure": None, "levels": None,
          "profiles": {"a": {"weight_kg": 3}}}, "not there with strata"),
        ({"event_of_interest": "1", "competing": ["2"], "censored": "0"},
         "beside competing events need the hazards of both"),
        ({"ties": "exact"}, 'not there with ties = "exact"'),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(
    stifles: pl.DataFrame, change: dict[str, Any], words: str
) -> None:
    asked = {key: value for key, value in (ASKED | change).items() if value is not None}
    with pytest.raises(PlanError, match=words):
        run(stifles, **asked)
