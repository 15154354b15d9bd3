"""Analyses of complications in counting form: their table, and who answers which question."""

from dataclasses import replace
from typing import Any

import polars as pl

from pipeline.analyse import analyse
from pipeline.descriptives import precision_rows
from pipeline.plan import parse_analyses
from pipeline.recurrent import recurrent_table
from pipeline.report.public_rows import public_rows
from pipeline.study import Comparison, Eligibility, Outcomes, Privacy, Statements, Study
from shared.estimate import Estimate

COHORT = pl.DataFrame({
    "stifle_id": ["s1", "s2", "s3", "s4"], "animal_id": ["a1", "a1", "a2", "a3"],
    "clinic_id": ["north"] * 4, "left_at": pl.Series([None] * 4, dtype=pl.String),
    "arm": ["one", "two", "one", "two"],
    "end_status": ["died", "discharged", "amputated", "euthanised"],
    "end_of_followup_day": [200, 300, 150, 90],
})  # fmt: skip
STRETCHES = pl.DataFrame(
    [("s1", 1, 0, 20, True), ("s1", 2, 20, 200, False), ("s2", 1, 0, 300, False),
     ("s3", 1, 0, 150, False), ("s4", 1, 0, 90, True)],
    schema=["stifle_id", "stretch", "start_day", "stop_day", "complication"], orient="row",
).with_columns(animal_id=pl.lit("-"), clinic_id=pl.lit("north"))  # fmt: skip
COUNT: dict[str, Any] = {
    "id": "count", "model": "mean_cumulative_count", "table": "recurrent", "entry": "start_day",
    "time": "stop_day", "event": "stretch_state", "event_of_interest": "complication_seen",
    "competing": ["death", "amputation"], "censored": "last_contact", "cluster": "animal_id",
    "horizon": [60],
}  # fmt: skip
STUDY = Study(
    title="An invented study", question="Does it run?", seed=1, codebook_version="",
    eligibility=Eligibility(), outcomes=Outcomes(), comparison=Comparison(), privacy=Privacy(),
    statements=Statements(), clinics=("north",), raw={}, analyses=(COUNT,), folder=None,  # type: ignore[arg-type]
)  # fmt: skip


def test_each_stretch_knows_its_stifle_and_what_ended_it() -> None:
    table = recurrent_table(STRETCHES, COHORT)
    assert table["stretch_state"].to_list() == [
        "complication_seen", "death", "last_contact", "amputation", "complication_seen",
    ]  # fmt: skip
    assert table["arm"].to_list() == ["one", "one", "two", "one", "two"]


def test_stifles_outside_the_cohort_have_no_stretch() -> None:
    table = recurrent_table(STRETCHES, COHORT.filter(pl.col("arm") == "two"))
    assert table["stifle_id"].to_list() == ["s2", "s4"]


def test_an_analysis_looks_at_the_table_it_names(tmp_path: Any) -> None:
    study = replace(STUDY, folder=tmp_path)
    done = analyse(COHORT, study, recurrent=STRETCHES)
    count = done.results.filter(pl.col("measure") == "mean_count").row(0, named=True)
    assert (count["estimate"], count["events"], count["n"]) == (0.25, 1, 5)


def test_no_precision_is_expected_of_stretches() -> None:
    assert not precision_rows(COHORT, parse_analyses([COUNT]))


def test_a_small_arm_takes_its_means_and_contrasts_with_it() -> None:
    """Else the count of one arm could be had from that of all and the other."""
    base = Estimate(analysis="c", model="m", measure="mean_count", day=60.0, estimate=0.2, n=90)
    rows = (
        replace(base, row_id="all", events=23),
        replace(base, row_id="one", group="one", events=3),
        replace(base, row_id="two", group="two", events=20),
        replace(base, row_id="ratio", measure="mean_count_ratio", level="two", events=23),
        replace(base, row_id="later", day=90.0, events=40),
    )
    shown = {row.row_id: row.events for row in public_rows(rows, (), smallest=5)}
    assert shown == {"all": None, "one": None, "two": None, "ratio": None, "later": 40}
