"""Complications in counting form: stretches from one to the next, and to the end of follow-up."""

from pathlib import Path

import polars as pl

from pipeline.cohort import Cohort
from schemas.codebook import of_table
from tests.pipeline.invented import CODEBOOK, Row, cohort_of, event, holds_of, joint, visit

SHOWN = ("start_day", "stop_day", "complication", "complications_of_day", "worst_of_day")


def course(*events: Row, last: int = 400) -> dict[str, list[Row]]:
    return {"rechecks": [visit(42), visit(last)], "complications": list(events)}


def stretches(cohort: Cohort) -> list[tuple[object, ...]]:
    return cohort.recurrent.select(SHOWN).rows()


def test_a_stifle_without_a_complication_has_one_stretch_to_its_last_contact() -> None:
    assert stretches(cohort_of(joint(course=course()))) == [(0, 400, False, 0, None)]


def test_each_complication_ends_a_stretch_and_begins_the_next() -> None:
    told = (event("seroma", 20), event("kwire_migration", 90, severity_class="major_surgical"))
    assert stretches(cohort_of(joint(course=course(*told)))) == [
        (0, 20, True, 1, "minor"), (20, 90, True, 1, "major_surgical"), (90, 400, False, 0, None),
    ]  # fmt: skip


def test_complications_of_one_day_are_one_event_of_the_worst_class() -> None:
    told = (event("seroma", 20), event("septic_arthritis", 20, severity_class="major_medical"))
    assert stretches(cohort_of(joint(course=course(*told))))[0] == (0, 20, True, 2, "major_medical")


def test_what_happened_in_theatre_is_apart_and_the_last_day_makes_no_empty_stretch() -> None:
    told = (event("anaesthetic", 0), event("seroma", 30, intraoperative=True), event("seroma", 400))
    assert stretches(cohort_of(joint(course=course(*told)))) == [(0, 400, True, 1, "minor")]


def test_death_ends_the_follow_up() -> None:
    told = course(event("seroma", 20))
    cohort = cohort_of(joint(course=told, end_status="died", end_of_followup_day=300))
    assert stretches(cohort)[-1] == (20, 300, False, 0, None)


def test_excluded_and_held_stifles_are_not_in_it_and_every_column_is_declared() -> None:
    held = holds_of(("north", "A2:left", "outcome:all"))
    joints = [joint(f"A{place}", course=course()) for place in (1, 2)]
    cat = joint("A3", species="cat", course=course())
    cohort = cohort_of(*joints, cat, holds=held)
    assert cohort.recurrent["stifle_id"].to_list() == ["north:A1:left"]
    declared = {item.name for item in of_table(CODEBOOK, "recurrent")}
    assert declared == set(cohort.recurrent.columns[3:])


def test_the_days_at_risk_of_the_stretches_are_those_of_the_follow_up(demo_run: object) -> None:
    out: Path = demo_run.out  # type: ignore[attr-defined]
    recurrent = pl.read_csv(out / "recurrent.csv")
    cohort = pl.read_parquet(out / "cohort.parquet")
    days = recurrent.group_by("stifle_id").agg(
        days=(pl.col("stop_day") - pl.col("start_day")).sum(),
        events=pl.col("complications_of_day").sum(),
    )
    both = days.join(cohort, on="stifle_id")
    assert both.height == days.height > 700
    assert (both["days"] <= both["last_contact_day"]).all()
    assert (both["events"] <= both["n_complications"]).all()
    assert pl.read_csv(out / "recurrent_dictionary.csv")["definition"].null_count() == 0
