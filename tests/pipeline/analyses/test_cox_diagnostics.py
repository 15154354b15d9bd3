"""What a Cox model hangs on, through a plan: influence of clinics and animals, ratios over time."""

from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.analyses.run import run_analysis
from pipeline.plan import parse_analysis
from shared.errors import PlanError
from shared.estimate import results_frame
from tests.pipeline.analyses.asked import only, run
from tests.pipeline.analyses.conftest import RELUXATION, invent_cohort

ASKED: dict[str, Any] = {
    "id": "x", "model": "cox", **RELUXATION,
    "adjust_for": ["grade_preop", "log_weight_kg"], "categorical": {},
    "diagnostics": ["proportional_hazards", "influence"],
}  # fmt: skip


@pytest.fixture(scope="module")
def cohort() -> pl.DataFrame:
    return invent_cohort()


def test_each_clinic_and_the_heaviest_animals_are_left_out(cohort: pl.DataFrame) -> None:
    rows = results_frame(run_analysis(cohort, parse_analysis(ASKED)).rows)
    without = rows.filter(pl.col("measure") == "hazard_ratio_without")
    counts = dict(without.group_by("state").len().iter_rows())
    assert counts == {"clinic_id": 3, "animal_id": 5}
    assert without["adjustment"].unique().to_list() == ["adjusted"]
    here = {key: value for key, value in ASKED.items() if key not in ("id", "diagnostics")}
    for state, group in without.select("state", "group").iter_rows():
        rest = cohort.filter(pl.col(state) != group)
        refitted = run(rest, **here, estimator="maximum_likelihood")
        again = only(refitted, measure="hazard_ratio", level="block_recession",
                     adjustment="adjusted")  # fmt: skip
        left = only(without, state=state, group=group)
        assert left["estimate"] == pytest.approx(again["estimate"], rel=1e-8)
        assert left["n"] == again["n"]


def test_the_smooth_stands_in_the_curves_with_one_point_an_event(cohort: pl.DataFrame) -> None:
    done = run_analysis(cohort, parse_analysis({**ASKED, "adjustments": ["crude", "adjusted"]}))
    smooth = done.curves.filter(pl.col("curve") == "over_time")
    points = done.curves.filter(pl.col("curve") == "over_time_residual")
    rows = results_frame(done.rows)
    row = only(rows, model="cox", measure="coefficient", level="block_recession",
               adjustment="adjusted")  # fmt: skip
    assert len(points) == row["events"]
    assert points["estimate"].mean() == pytest.approx(row["estimate"], abs=1e-6)
    assert smooth["group"].unique().to_list() == ["sulcoplasty_type=block_recession"]
    assert (smooth["low"] < smooth["estimate"]).all()
    assert (smooth["estimate"] < smooth["high"]).all()
    assert done.curves.select("curve", "group", "state", "at", "day").is_duplicated().sum() == 0


def test_nothing_is_judged_that_was_not_asked_for_or_has_no_fit(cohort: pl.DataFrame) -> None:
    plain = {key: value for key, value in ASKED.items() if key != "diagnostics"}
    assert run_analysis(cohort, parse_analysis(plain)).curves.is_empty()
    apart = cohort.with_columns(
        relux_state=pl.when(pl.col("sulcoplasty_type") == "block_recession")
        .then(pl.lit("censored")).otherwise("relux_state")
    )  # fmt: skip
    done = run_analysis(apart, parse_analysis(ASKED))
    assert done.curves.is_empty()
    assert not any(row.measure == "hazard_ratio_without" for row in done.rows)


def test_true_asks_for_what_a_cox_model_has(cohort: pl.DataFrame) -> None:
    every = run_analysis(cohort, parse_analysis({**ASKED, "diagnostics": True}))
    some = run_analysis(cohort, parse_analysis(ASKED))
    assert every.rows == some.rows
    assert np.array_equal(every.curves["at"].to_numpy(), some.curves["at"].to_numpy())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"diagnostics": ["calibration"]}, 'the model "cox" has no diagnostics "calibration"'),
        ({"ties": "exact", "cluster": None}, 'ties = "exact" has no diagnostics'),
        ({"model": "logistic", "diagnostics": ["proportional_hazards"]},
         'the model "logistic" has no diagnostics "proportional_hazards"'),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(change: dict[str, Any], words: str) -> None:
    asked = {key: value for key, value in (ASKED | change).items() if value is not None}
    if asked["model"] == "logistic":
        asked = {"id": "x", "model": "logistic", "outcome": "y", "adjust_for": ["a"],
                 "diagnostics": asked["diagnostics"]}  # fmt: skip
    with pytest.raises(PlanError, match=words):
        parse_analysis(asked)
