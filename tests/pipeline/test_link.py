"""One animal over clinics: shared tokens, revisions elsewhere, contradictions, near matches."""

from datetime import date, timedelta

import polars as pl

from pipeline.checks.words import query_ids
from pipeline.link import link
from tests.pipeline.invented import (
    DAY_0,
    Row,
    cohort_of,
    event,
    holds_of,
    joint,
    linked_of,
    only,
    revision,
    tables_of,
    visit,
)

LATER = DAY_0 + timedelta(days=300)


def referred(**values: object) -> Row:
    """The dog of "north" under its token, operated again on the same side at "valley"."""
    made = {"token": "t1", "on": LATER, "course": {"rechecks": [visit(40)]}, **values}
    return joint("V9", clinic="valley", **made)  # pyright: ignore[reportArgumentType]


def first(**values: object) -> Row:
    made = {"token": "t1", "course": {"rechecks": [visit(42), visit(180)]}, **values}
    return joint("A1", **made)  # pyright: ignore[reportArgumentType]


def test_without_token_animals_of_two_clinics_stay_apart() -> None:
    linked = linked_of(joint("A1", clinic="north"), joint("A1", clinic="valley"))
    assert linked.tables["stifles"]["animal_id"].to_list() == ["north:A1", "valley:A1"]
    assert linked.tables["stifles"]["stifle_id"].to_list() == ["north:A1:left", "valley:A1:left"]


def test_the_same_token_is_one_animal_whichever_side() -> None:
    linked = linked_of(first(), referred(side="right"))
    stifles = linked.tables["stifles"]
    assert stifles["animal_id"].to_list() == ["north:A1", "north:A1"]
    assert stifles["stifle_id"].to_list() == ["north:A1:left", "north:A1:right"]
    assert stifles["clinic_id"].to_list() == ["north", "valley"]


def test_a_blank_token_links_nobody() -> None:
    linked = linked_of(joint("A1", token=" "), joint("A2", token=" "))
    assert linked.tables["stifles"]["animal_id"].n_unique() == 2


def test_a_later_operation_elsewhere_is_a_revision_of_the_index() -> None:
    linked = linked_of(first(), referred())
    assert linked.tables["stifles"]["clinic_id"].to_list() == ["north"]
    kinds = linked.operations.select("clinic_id", "kind", "day").rows()
    assert kinds == [("north", "index", 0), ("valley", "revision", 300)]
    told = linked.findings.filter(pl.col("rule") == "R70").row(0, named=True)
    assert (told["clinic_id"], told["action"]) == ("valley", "derive")
    assert "300 days later" in told["says"]


def test_days_at_the_second_clinic_count_from_the_index_operation() -> None:
    course = {"rechecks": [visit(40)], "complications": [event("seroma", 10)]}
    linked = linked_of(first(), referred(course=course))
    assert linked.tables["rechecks"]["recheck_day"].to_list() == [42, 180, 340]
    assert linked.tables["complications"]["detected_day"].to_list() == [310]
    assert linked.tables["stifles"]["end_of_followup_day"].to_list() == [340]


def test_linking_leaves_the_accepted_tables_as_they_are() -> None:
    """Days are moved in columns of its own."""
    course = {"rechecks": [visit(40)], "complications": [event("seroma", 10)]}
    tables = tables_of(first(), referred(course=course))
    before = {name: frame.rows() for name, frame in tables.items()}
    assert link(tables, holds_of()).tables["rechecks"]["recheck_day"].to_list() == [42, 180, 340]
    assert {name: frame.rows() for name, frame in tables.items()} == before


def test_a_second_operation_for_luxation_elsewhere_is_a_reluxation_that_was_revised() -> None:
    row = only(cohort_of(first(), referred()))
    assert (row["relux_day"], row["relux_state"]) == (300, "reluxation")
    assert (row["relux_left"], row["relux_revised_state"]) == (180, "reluxation")
    assert row["implant_state"] == "revision"


def test_a_second_operation_for_the_other_direction_is_overcorrection() -> None:
    row = only(cohort_of(first(), referred(luxation_direction="lateral")))
    assert (row["relux_state"], row["opposite_state"]) == ("other_revision", "opposite_luxation")


def test_a_revision_that_both_clinics_report_is_one_operation() -> None:
    reported = first(course={"rechecks": [visit(42)], "revisions": [revision("reluxation", 300)]})
    linked = linked_of(reported, referred())
    assert linked.operations["kind"].to_list() == ["index", "revision"]
    assert linked.tables["revisions"].select("clinic_id", "derived").rows() == [("north", False)]


def test_one_operation_reported_by_two_clinics_counts_once() -> None:
    linked = linked_of(first(), referred(on=DAY_0))
    assert linked.operations["kind"].to_list() == ["index"]
    assert linked.n_reported_twice == 1
    assert sorted(linked.tables["rechecks"]["recheck_day"]) == [40, 42, 180]


def test_an_operation_without_patellar_surgery_before_the_index_is_an_earlier_one() -> None:
    nothing = {"sulcoplasty_type": "none", "ttt_done": False, "femoral_osteotomy": "none",
               "cruciate_procedure": "extracapsular_suture"}  # fmt: skip
    linked = linked_of(first(procedure=nothing, course={"rechecks": [visit(42)]}), referred())
    assert linked.operations.select("clinic_id", "kind", "day").rows() == [
        ("north", "earlier", -300), ("valley", "index", 0),
    ]  # fmt: skip
    assert linked.tables["stifles"]["clinic_id"].to_list() == ["valley"]
    assert linked.tables["rechecks"]["recheck_day"].to_list() == [40]


def test_shifted_and_true_dates_cannot_be_compared_so_outcomes_are_held() -> None:
    shifted = {"valley": {"dates_shifted": True}}
    cohort = cohort_of(first(), referred(surgery_year=2021, lock_day=900), clinics=shifted)
    row = only(cohort)
    assert (row["clinic_id"], row["relux_held"], row["implant_held"]) == ("north", True, True)
    assert cohort.counts["revisions"] == 1


def test_shifted_dates_of_one_shift_are_compared() -> None:
    both = {"north": {"dates_shifted": True}, "valley": {"dates_shifted": True}}
    known = {"surgery_year": 2020, "lock_day": 1500}
    cohort = cohort_of(first(**known), referred(**known), clinics=both)
    assert only(cohort)["relux_day"] == 300


def test_two_species_under_one_token_hold_both_animals() -> None:
    linked = linked_of(first(), referred(species="cat", side="right"))
    assert set(linked.holds["target"]) == {"outcome:all"}
    assert linked.holds["stifle_id"].to_list() == ["north:A1:left", "north:A1:right"]
    told = linked.findings.filter(pl.col("rule") == "R04")
    assert (told["action"].to_list(), told["clinic_id"].to_list()) == (
        ["hold", "hold"], ["north", "valley"],
    )  # fmt: skip


def test_an_animal_is_held_until_all_its_clinics_confirm_it() -> None:
    dogs = first(), referred(species="cat", side="right")
    asked = query_ids(linked_of(*dogs).findings).to_list()
    one = linked_of(*dogs, confirmed=frozenset(asked[:1]))
    assert (one.findings["clinic_id"].to_list(), one.holds.height) == (["valley"], 2)
    both = linked_of(*dogs, confirmed=frozenset(asked))
    assert (both.findings.height, both.holds.height) == (0, 0)


def test_a_confirmed_revision_is_not_asked_about_but_one_without_a_day_is() -> None:
    for shifted, n_left in ((False, 0), (True, 1)):
        clinics = {"valley": {"dates_shifted": shifted}}
        asked = query_ids(linked_of(first(), referred(), clinics=clinics).findings)
        again = linked_of(
            first(), referred(), clinics=clinics, confirmed=frozenset(asked.to_list())
        )
        assert (again.findings.height, again.holds.height) == (n_left, n_left)


def test_an_animal_seen_elsewhere_after_its_death_is_held() -> None:
    linked = linked_of(first(end_of_followup_day=200, end_status="died"), referred())
    assert linked.holds.height == 1
    assert "day of death" in linked.findings.filter(pl.col("rule") == "R04")["says"][0]


def test_near_matches_are_listed_and_never_joined() -> None:
    linked = linked_of(joint("A1"), joint("V9", clinic="valley", weight_kg=8.3, age_months=31.0),
                       joint("V8", clinic="valley", weight_kg=9.0))  # fmt: skip
    pairs = linked.near_matches.select("local_animal", "other_local_animal").rows()
    assert pairs == [("A1", "V9")]
    assert linked.tables["stifles"]["animal_id"].n_unique() == 3


def test_holds_of_the_second_clinic_follow_the_joint() -> None:

    made = link(tables_of(first(), referred()), holds_of(("valley", "V9:left", "outcome:all")))
    assert made.holds.rows() == [("north:A1:left", "outcome:all", "R99")]


def test_linking_does_not_depend_on_the_order_of_rows() -> None:
    dogs = [first(), referred(), joint("A2", on=date(2021, 5, 4)), joint("A0", token="t2")]
    one, two = linked_of(*dogs), linked_of(*reversed(dogs))
    names = ("stifle_id", "animal_id", "clinic_id")
    assert one.tables["stifles"].select(names).equals(two.tables["stifles"].select(names))
    assert one.operations.equals(two.operations)
