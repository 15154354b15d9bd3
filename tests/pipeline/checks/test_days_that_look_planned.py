"""Days that look planned are marked nominal with half a step, until the clinic says otherwise."""

from dataclasses import replace

import polars as pl

from pipeline.check import check
from pipeline.checks.words import query_ids
from tests.pipeline.checks.network_cases import visits
from tests.pipeline.checks.small_checks import Build, Codebook, found

WEEKS = visits(14, 84, 133, 364)


def test_whole_weeks_are_marked_with_half_a_week_and_asked_about_once(
    build: Build, codebook: Codebook
) -> None:
    checked = check(build(WEEKS["changes"], more=WEEKS["more"]), codebook)
    planned = checked.marks.filter(pl.col("mark") == "nominal")
    assert planned["window_days"].to_list() == [4] * 10
    assert set(planned["row_id"]) == set(checked.tables["rechecks"]["row_id"])
    asked = found(checked, "R22")
    assert asked["row"] is None
    assert asked["key"] == "whole export"
    assert "within 4 days" in asked["says"]
    assert checked.holds.is_empty()


def test_whole_months_are_marked_with_half_a_month(build: Build, codebook: Codebook) -> None:
    months = visits(120, 150, 240, 360)
    for place in range(6):
        months["changes"]["rechecks"][place]["recheck_day"] = 30 if place % 2 == 0 else 180
    checked = check(build(months["changes"], more=months["more"]), codebook)
    assert set(checked.marks["window_days"]) == {15}


def test_days_that_the_clinic_confirmed_are_measured(build: Build, codebook: Codebook) -> None:
    mapped = build(WEEKS["changes"], more=WEEKS["more"])
    asked = check(mapped, codebook).findings.filter(pl.col("rule") == "R22")
    again = check(mapped, codebook, confirmed=frozenset(query_ids(asked)))
    assert again.marks.is_empty()
    assert again.findings.filter(pl.col("rule") == "R22").is_empty()


def test_days_counted_from_dates_are_no_plan(build: Build, codebook: Codebook) -> None:
    mapped = build(WEEKS["changes"], more=WEEKS["more"])
    dated = mapped.tables["rechecks"].select(
        "clinic_id", pl.lit("rechecks").alias("table"), "row_id",
        pl.lit("recheck_day").alias("variable"), on=pl.date(2022, 7, 1),
        days=pl.lit(None, pl.Int64), counted_from=pl.lit("this"),
    )  # fmt: skip
    checked = check(replace(mapped, dates=dated), codebook)
    assert checked.marks.is_empty()
    assert checked.findings.filter(pl.col("rule") == "R22").is_empty()
