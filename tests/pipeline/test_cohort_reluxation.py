"""Reluxation: what counts, when it counts, and what is not known. Definitions of the protocol."""

from tests.pipeline.invented import (
    call,
    cohort_of,
    event,
    holds_of,
    joint,
    only,
    outcome,
    outcomes,
    revision,
    study_of,
    visit,
)  # fmt: skip


def test_a_stable_joint_is_censored_at_its_last_palpation() -> None:
    row = outcome(course={"rechecks": [visit(42), visit(180)]})
    assert (row["relux_day"], row["relux_state"]) == (180, "censored")
    assert (row["relux_left"], row["relux_right"]) == (180, None)


def test_a_telephone_call_does_not_extend_freedom() -> None:
    row = outcome(course={"rechecks": [visit(42), call(365)]})
    assert (row["relux_day"], row["last_adequate_day"], row["last_contact_day"]) == (42, 42, 365)
    assert row["relux_by_365"] is None


def test_a_visit_without_palpation_does_not_extend_freedom() -> None:
    row = outcome(course={"rechecks": [visit(42), visit(365, None)]})
    assert (row["relux_day"], row["relux_state"]) == (42, "censored")


def test_a_grade_recorded_without_a_visit_counts_neither_way() -> None:
    row = outcome(course={"rechecks": [visit(42), visit(90, 2, recheck_mode="video")]})
    assert (row["relux_day"], row["relux_state"]) == (42, "censored")


def test_a_joint_never_palpated_is_not_at_risk_and_never_a_success() -> None:
    row = outcome(course={"rechecks": [call(200)]})
    assert row["left_at"] is None
    assert (row["relux_day"], row["relux_state"], row["set_b"]) == (None, None, False)
    assert row["relux_by_91"] is None


def test_grade_one_in_the_first_direction_is_found_between_two_rechecks() -> None:
    row = outcome(
        course={"rechecks": [visit(42), visit(90, 1, patella_direction="medial"), visit(200)]}
    )
    assert (row["relux_day"], row["relux_state"]) == (90, "reluxation")
    assert (row["relux_left"], row["relux_right"]) == (42, 90)
    assert row["relux_important_state"] == "censored"


def test_grade_one_the_other_way_is_opposite_luxation_only() -> None:
    row = outcome(course={"rechecks": [visit(42, 1, patella_direction="lateral"), visit(100)]})
    assert (row["relux_day"], row["relux_state"]) == (100, "censored")
    assert (row["opposite_day"], row["opposite_state"]) == (42, "opposite_luxation")


def test_a_blank_direction_counts_as_the_first_one() -> None:
    row = outcome(course={"rechecks": [visit(42, 1)]})
    assert row["relux_state"] == "reluxation"
    assert row["opposite_state"] == "censored"


def test_either_way_counts_where_the_first_luxation_went_both_ways() -> None:
    both = study_of(eligibility={"direction": ("bidirectional",)})
    made = joint(
        luxation_direction="bidirectional",
        course={"rechecks": [visit(42, 1, patella_direction="lateral")]},
    )
    row = only(cohort_of(made, study=both))
    assert row["relux_state"] == "reluxation"
    assert row["opposite_state"] is None


def test_an_owners_report_alone_is_possible_only() -> None:
    told = event("reluxation", 60, detected_by="owner_report")
    row = outcome(course={"rechecks": [visit(42), visit(100)], "complications": [told]})
    assert (row["relux_day"], row["relux_state"]) == (100, "censored")
    assert (row["relux_possible_day"], row["relux_possible_state"]) == (60, "reluxation")


def test_a_recorded_reluxation_counts_without_any_recheck() -> None:
    row = outcome(course={"complications": [event("reluxation", 60, last_negative_day=20)]})
    assert (row["relux_day"], row["relux_state"], row["set_b"]) == (60, "reluxation", True)
    assert (row["relux_left"], row["relux_right"]) == (20, 60)
    assert (row["relux_important_day"], row["relux_important_state"]) == (60, "censored")


def test_instability_at_the_end_of_surgery_is_no_reluxation() -> None:
    made = [event("reluxation", 0), event("reluxation", 0, intraoperative=True)]
    row = outcome(course={"rechecks": [visit(42)], "complications": made})
    assert (row["relux_day"], row["relux_state"]) == (42, "censored")
    assert row["n_complications"] == 0


def test_important_is_grade_two_or_lame() -> None:
    seen = [(1, 0, False), (1, 2, True), (2, 0, True)]
    rows = outcomes(*(joint(course={"rechecks": [visit(60, grade, lameness_score=lame)]})
                      for grade, lame, _ in seen))  # fmt: skip
    assert {row["relux_state"] for row in rows} == {"reluxation"}
    assert [row["relux_important_state"] == "reluxation" for row in rows] == [
        important for *_, important in seen
    ]


def test_any_grade_that_led_to_a_revision_is_important_and_revised_on_the_day_found() -> None:
    row = outcome(
        course={
            "rechecks": [visit(60, 1, lameness_score=0)],
            "revisions": [revision("reluxation", 90)],
        }
    )
    assert (row["relux_important_day"], row["relux_important_state"]) == (60, "reluxation")
    assert (row["relux_revised_day"], row["relux_revised_state"]) == (60, "reluxation")


def test_a_reluxation_after_the_last_revision_is_not_revised() -> None:
    found = {"rechecks": [visit(30), visit(200, 1)], "revisions": [revision("planned_removal", 90)]}
    row = outcome(course=found)
    assert row["relux_state"] == "reluxation"
    assert row["relux_revised_state"] == "censored"


def test_death_100_days_after_the_last_palpation_censors_there() -> None:
    row = outcome(
        course={"rechecks": [visit(42)]}, end_of_followup_day=142, end_status="died",
        death_cause="unrelated",
    )  # fmt: skip
    assert (row["relux_day"], row["relux_state"]) == (42, "censored")
    assert (row["relux_day_all_deaths"], row["relux_state_all_deaths"]) == (142, "death")


def test_death_competes_up_to_91_days_after_the_last_palpation() -> None:
    last, late = outcomes(*(
        joint(course={"rechecks": [visit(42)]}, end_of_followup_day=day, end_status="euthanised")
        for day in (133, 134)
    ))  # fmt: skip
    assert (last["relux_day"], last["relux_state"], last["relux_by_183"]) == (133, "death", False)
    assert (late["relux_day"], late["relux_state"], late["relux_by_183"]) == (42, "censored", None)


def test_amputation_competes() -> None:
    row = outcome(course={"rechecks": [visit(42)]}, end_of_followup_day=60, end_status="amputated")
    assert (row["relux_day"], row["relux_state"]) == (60, "amputation")


def test_reluxation_found_on_the_day_of_death_is_reluxation() -> None:
    row = outcome(
        course={"rechecks": [visit(42, 2)]}, end_of_followup_day=42, end_status="euthanised"
    )
    assert row["relux_state"] == "reluxation"


def test_a_revision_that_changes_the_construct_competes() -> None:
    row = outcome(
        course={
            "rechecks": [visit(42), visit(200)],
            "complications": [event("tuberosity_fracture", 50, severity_class="major_surgical",
                                    treatment="revision_surgery")],
            "revisions": [revision("tuberosity_fracture", 51)],
        }
    )  # fmt: skip
    assert (row["relux_day"], row["relux_state"]) == (51, "other_revision")
    assert row["relux_by_365"] is False


def test_removal_of_wires_after_union_does_not_compete() -> None:
    told = {
        ("planned_removal", None): "censored",
        ("implant_irritation", None): "censored",
        ("implant_migration", None): "other_revision",
        ("implant_migration", "complete"): "censored",
        ("tuberosity_fracture", "complete"): "other_revision",
    }
    rows = outcomes(*(
        joint(course={"rechecks": [visit(42, osteotomy_healing=healing), visit(200)],
                      "revisions": [revision(reason, 100)]})
        for reason, healing in told
    ))  # fmt: skip
    assert [row["relux_state"] for row in rows] == list(told.values())


def test_a_reason_can_be_made_to_compete_by_the_protocol() -> None:
    made = joint(
        course={"rechecks": [visit(42)], "revisions": [revision("cruciate_rupture_later", 60)]}
    )
    protocol = study_of(outcomes={"changes_construct": ("cruciate_rupture_later",)})
    assert only(cohort_of(made))["relux_state"] == "censored"
    assert only(cohort_of(made, study=protocol))["relux_state"] == "other_revision"


def test_seen_stable_up_to_28_days_before_counts_as_free() -> None:
    days = (62, 63, 336, 337, 365, 700)
    rows = outcomes(*(joint(course={"rechecks": [visit(42), visit(day)]}) for day in days))
    assert [row["relux_by_91"] for row in rows] == [None, False, False, False, False, False]
    assert [row["relux_by_365"] for row in rows] == [None, None, None, False, False, False]


def test_found_by_the_day_is_yes_and_found_after_it_needs_a_look_before() -> None:
    late, looked, found = outcomes(
        joint(course={"rechecks": [visit(100), visit(400, 1)]}),
        joint(course={"rechecks": [visit(350), visit(400, 1)]}),
        joint(course={"rechecks": [visit(100), visit(365, 1)]}),
    )
    assert (late["relux_by_365"], late["relux_by_91"]) == (None, False)
    assert (looked["relux_by_365"], found["relux_by_365"]) == (False, True)


def test_a_held_joint_is_never_event_free() -> None:
    made = joint(course={"rechecks": [visit(42), visit(400)]})
    cohort = cohort_of(made, holds=holds_of(("north", "A1:left", "outcome:reluxation")))
    row = only(cohort)
    assert (row["relux_held"], row["relux_day"], row["relux_state"]) == (True, None, None)
    assert (row["relux_by_91"], row["relux_left"], row["relux_right"]) == (None, None, None)
    assert (row["relux_day_held_event"], row["relux_state_held_event"]) == (400, "reluxation")
    assert (row["relux_day_held_free"], row["relux_state_held_free"]) == (400, "censored")
    assert (row["implant_held"], row["implant_state"]) == (False, "censored")
    assert cohort.counts["relux_held"] == 1


def test_a_held_reluxation_counts_as_free_until_last_seen_stable() -> None:
    made = joint(course={"rechecks": [visit(42), visit(90, 2)]})
    row = only(cohort_of(made, holds=holds_of(("north", "A1:left", "outcome:all"))))
    assert (row["relux_day_held_event"], row["relux_state_held_event"]) == (90, "reluxation")
    assert (row["relux_day_held_free"], row["relux_state_held_free"]) == (42, "censored")
    assert row["major_cook_state"] is None
