"""Restricted means through a plan: arms, contrasts, and what is withheld."""

import polars as pl
import pytest

from analysis.restricted_mean import restricted_mean
from tests.pipeline.analyses.asked import RELUX, only, run

ARMS = ("wedge_recession", "block_recession")
ASKED = {**RELUX, "model": "restricted_mean", "exposure": "sulcoplasty_type", "levels": [*ARMS]}


def test_arms_difference_and_ratio_stand_at_each_day(invented_cohort: pl.DataFrame) -> None:
    rows = run(invented_cohort, **ASKED, cluster="animal_id", horizon=[91, 365])
    wedge, block = (only(rows, measure="restricted_mean", group=arm, day=365.0) for arm in ARMS)
    own = invented_cohort.filter(
        pl.col("sulcoplasty_type") == ARMS[1], pl.col("relux_state").is_not_null()
    )
    mean = restricted_mean(
        own["relux_day"], own["relux_state"] == "reluxation", horizon=365,
        cluster=own["animal_id"],
    )  # fmt: skip
    assert (block["estimate"], block["std_error"]) == (mean.estimate, mean.std_error)
    assert block["clusters"] == own["animal_id"].n_unique()
    difference = only(rows, measure="restricted_mean_difference", day=365.0)
    ratio = only(rows, measure="restricted_mean_ratio", day=365.0)
    assert (ratio["level"], ratio["reference"]) == ARMS[::-1]
    assert difference["estimate"] == pytest.approx(block["estimate"] - wedge["estimate"])
    assert ratio["estimate"] == pytest.approx(block["estimate"] / wedge["estimate"])
    assert difference["n"] + difference["n_dropped"] == only(
        rows, measure="count", term="rows")["n"] - only(
        rows, measure="count", term="other_levels")["n"]  # fmt: skip


def test_rows_taken_as_independent_say_so(invented_cohort: pl.DataFrame) -> None:
    rows = run(invented_cohort, **ASKED, horizon=365)
    row = only(rows, measure="restricted_mean_difference")
    assert "clusters_ignored" in row["concerns"]
    assert row["clusters"] is None


@pytest.mark.parametrize("looked_for_at_visits", [True, False])
def test_days_until_an_event_is_found_are_called_so(
    invented_cohort: pl.DataFrame, looked_for_at_visits: bool
) -> None:
    cohort = invented_cohort
    if looked_for_at_visits:
        cohort = cohort.with_columns(relux_left=pl.col("relux_day") - 1)
    rows = run(cohort, **ASKED, cluster="animal_id", horizon=365)
    shown = rows.filter(pl.col("measure").str.starts_with("restricted_mean"))
    assert len(shown) == 4
    assert shown["concerns"].str.contains("until_found").sum() == 4 * looked_for_at_visits


def test_nobody_with_the_event_before_the_day_gives_no_contrast(
    invented_cohort: pl.DataFrame,
) -> None:
    first = float(
        invented_cohort.filter(pl.col("relux_state") == "reluxation")["relux_day"].min()  # type: ignore[arg-type]
    )
    rows = run(invented_cohort, **ASKED, cluster="animal_id", horizon=first)
    for measure in ("restricted_mean_difference", "restricted_mean_ratio"):
        row = only(rows, measure=measure)
        assert (row["estimate"], row["p_value"]) == (None, None)
        assert "no_events" in row["concerns"]
    mean = only(rows, measure="restricted_mean", group=ARMS[0])
    assert (mean["estimate"], mean["low"]) == (first, None)


def test_nobody_followed_so_far_gives_no_mean(invented_cohort: pl.DataFrame) -> None:
    rows = run(invented_cohort, **ASKED, horizon=[365, 5000])
    late = rows.filter(pl.col("day") == 5000)
    assert late["estimate"].null_count() == len(late) == 4
    assert late["concerns"].str.contains("beyond_follow_up").all()


def test_without_an_exposure_there_is_one_mean(invented_cohort: pl.DataFrame) -> None:
    rows = run(invented_cohort, **RELUX, model="restricted_mean", horizon=365)
    assert rows.filter(pl.col("day") == 365)["measure"].to_list() == ["restricted_mean"]
