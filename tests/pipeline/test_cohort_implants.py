"""Implant complications, major complications and infections. Definitions of the protocol."""

import pytest

from tests.pipeline.invented import (
    call,
    cohort_of,
    event,
    holds_of,
    implant,
    joint,
    only,
    outcome,
    outcomes,
    revision,
    study_of,
    visit,
)  # fmt: skip

NO_TTT = {
    "ttt_done": False, "ttt_fixation": None, "kwire_count": None, "kwire_diameter_mm": None,
    "tension_band_done": None, "distal_bridge": None,
}  # fmt: skip


def test_any_contact_extends_freedom_from_implant_complications() -> None:
    row = outcome(course={"rechecks": [visit(42), call(350)]})
    assert (row["implant_day"], row["implant_state"]) == (350, "censored")
    assert row["implant_by_365"] is False


def test_a_stifle_without_implants_is_not_at_risk() -> None:
    row = outcome(procedure=NO_TTT, course={"rechecks": [visit(42)]})
    assert (row["at_risk_implant"], row["implant_state"], row["set_d"]) == (False, None, False)


def test_listed_implants_are_evidence_where_the_operation_is_silent() -> None:
    silent = {"ttt_fixation": None, "kwire_count": None, "tension_band_done": None}
    course = {"rechecks": [visit(42)]}
    assert outcome(procedure=silent, course=course)["at_risk_implant"] is None
    listed = course | {"implants": [implant("k_wire")]}
    assert outcome(procedure=silent, course=listed)["at_risk_implant"] is True


def test_a_femoral_plate_is_neither_at_risk_nor_an_implant_complication() -> None:
    femoral = {"femoral_osteotomy": "closing_wedge"}
    course = {
        "rechecks": [visit(42)], "implants": [implant("plate"), implant("screw")],
        "complications": [event("screw_or_plate_failure", 30)],
    }  # fmt: skip
    silent = {"ttt_fixation": None, "kwire_count": 0, "tension_band_done": False}
    assert outcome(procedure=femoral | silent, course=course)["at_risk_implant"] is False
    assert outcome(procedure=femoral, course=course)["implant_state"] == "censored"
    plated = outcome(procedure={"ttt_fixation": "plate"}, course=course)
    assert plated["implant_state"] == "implant_complication"


def test_the_family_and_its_parts() -> None:
    parts = {
        "kwire_migration": "hardware", "kwire_breakage": "hardware", "wire_breakage": "hardware",
        "wire_loosening": "hardware", "tuberosity_fracture": "tuberosity",
        "tuberosity_displacement": "tuberosity", "implant_irritation": "irritation",
    }  # fmt: skip
    rows = outcomes(*(joint(course={"rechecks": [visit(200)], "complications": [event(kind, 60)]})
                      for kind in parts))  # fmt: skip
    for row, part in zip(rows, parts.values(), strict=True):
        assert (row["implant_day"], row["implant_state"]) == (60, "implant_complication")
        found = [name for name in ("hardware", "tuberosity", "irritation")
                 if row[f"{name}_state"] != "censored"]  # fmt: skip
        assert found == [part]
        assert row[f"{part}_day"] == 60


def test_other_complications_are_not_in_the_family() -> None:
    rows = outcomes(*(
        joint(course={"rechecks": [visit(200)], "complications": [event(kind, 20)]})
        for kind in ("surgical_site_infection", "seroma", "reluxation")
    ))  # fmt: skip
    assert [row["implant_state"] for row in rows] == ["censored"] * 3


def test_unplanned_removal_with_no_other_type_counts() -> None:
    pieces = [implant("k_wire", 80, "irritation"), implant("k_wire", 80, "irritation")]
    row = outcome(course={"rechecks": [visit(200)], "implants": pieces})
    assert (row["implant_day"], row["implant_state"]) == (80, "implant_complication")
    assert row["irritation_state"] == "implant_irritation"


def test_unplanned_removal_of_a_coded_complication_is_no_second_event() -> None:
    coded = event("implant_irritation", 60, treatment="implant_removal")
    rows = outcomes(*(
        joint(course={"rechecks": [visit(200)], "complications": [coded],
                      "implants": [implant("k_wire", day, "migration")]})
        for day in (60, 80)
    ))  # fmt: skip
    for row in rows:
        assert (row["irritation_day"], row["implant_day"]) == (60, 60)
        assert row["hardware_state"] != "hardware_complication"


def test_removal_for_infection_is_infection_and_ends_the_time_at_risk() -> None:
    course = {
        "rechecks": [visit(200)], "implants": [implant("k_wire", 40, "infection")],
        "complications": [event("surgical_site_infection", 30, treatment="implant_removal",
                                severity_class="major_surgical", ssi_depth="deep")],
    }  # fmt: skip
    row = outcome(course=course)
    assert (row["implant_day"], row["implant_state"]) == (40, "revision")
    assert row["ssi_90"] is True


def test_planned_removal_of_all_implants_competes() -> None:
    pieces = [implant("k_wire", 90, "planned"), implant("k_wire", 95, "planned")]
    row = outcome(course={"rechecks": [visit(200)], "implants": pieces})
    assert (row["implant_day"], row["implant_state"]) == (95, "planned_removal")
    told = outcome(
        course={"rechecks": [visit(200)], "revisions": [revision("planned_removal", 90)]}
    )
    assert (told["implant_day"], told["implant_state"]) == (90, "planned_removal")


def test_planned_removal_of_one_of_two_implants_does_not_compete() -> None:
    pieces = [implant("k_wire", 90, "planned"), implant("k_wire")]
    course = {"rechecks": [visit(200)], "implants": pieces}
    assert outcome(course=course)["implant_state"] == "censored"
    told = course | {"revisions": [revision("planned_removal", 90)]}
    assert outcome(course=told)["implant_state"] == "censored"


def test_revision_for_reluxation_competes_with_implant_complications() -> None:
    course = {"rechecks": [visit(30, 2), visit(200)], "revisions": [revision("reluxation", 50)]}
    row = outcome(course=course)
    assert (row["implant_day"], row["implant_state"]) == (50, "revision")


def test_death_competes_however_late() -> None:
    row = outcome(course={"rechecks": [visit(42)]}, end_of_followup_day=300, end_status="died")
    assert (row["implant_day"], row["implant_state"]) == (300, "death")
    assert (row["implant_by_365"], row["implant_by_183"]) == (False, False)


def test_implant_complication_by_a_day_needs_to_be_known() -> None:
    row = outcome(
        course={"rechecks": [visit(40)], "complications": [event("kwire_migration", 400)]}
    )
    assert (row["implant_by_365"], row["implant_by_91"]) == (None, None)
    seen = outcome(
        course={"rechecks": [visit(340)], "complications": [event("kwire_migration", 400)]}
    )
    assert seen["implant_by_365"] is False


@pytest.mark.parametrize(
    ("switch", "at_risk"), [("out_of_implant_outcomes", False), ("in", True), ("out", False)]
)
def test_cruciate_hardware_is_shared(switch: str, at_risk: bool) -> None:
    levelled = joint(
        procedure={"cruciate_procedure": "plateau_levelling_osteotomy"},
        course={"rechecks": [visit(42)]},
    )
    other = joint("A2", course={"rechecks": [visit(42)]})
    study = study_of(eligibility={"cruciate_procedure": switch})
    row = only(cohort_of(levelled, other, study=study), "north:A1:left")
    assert row["set_d"] is at_risk
    if switch == "out":
        assert row["left_at"] == "cruciate_procedure"
    else:
        assert (row["implant_state"] is not None) is at_risk


def test_a_held_implant_outcome_is_unknown() -> None:
    made = joint(course={"rechecks": [visit(42)]})
    row = only(cohort_of(made, holds=holds_of(("north", "A1:left", "outcome:implant"))))
    assert (row["implant_state"], row["tuberosity_state"], row["implant_by_91"]) == (None,) * 3
    assert row["implant_state_held_event"] == "implant_complication"
    assert row["relux_state"] == "censored"


def test_major_by_treatment_and_by_operation_stand_side_by_side() -> None:
    told = {
        ("minor", "none"): (False, False),
        ("major_medical", "drug"): (True, False),
        ("major_surgical", "implant_removal"): (True, True),
        ("catastrophic", "euthanasia"): (True, False),
        ("catastrophic", "amputation"): (True, True),
    }
    rows = outcomes(*(
        joint(course={"rechecks": [visit(200)], "complications": [
            event("other", 50, severity_class=severity, treatment=treatment)]})
        for severity, treatment in told
    ))  # fmt: skip
    for row, (severity, _), major in zip(rows, told, told.values(), strict=True):
        states = (row["major_cook_state"], row["major_revision_state"])
        assert tuple(state == "major_complication" for state in states) == major
        assert (row["n_complications"], row["worst_severity"]) == (1, severity)


def test_a_related_death_is_catastrophic() -> None:
    related, unrelated = outcomes(*(
        joint(course={"rechecks": [visit(42)]}, end_of_followup_day=60, end_status="died",
              death_cause=cause)
        for cause in ("stifle_related", "unrelated")
    ))  # fmt: skip
    assert (related["major_cook_day"], related["major_cook_state"]) == (60, "major_complication")
    assert (unrelated["major_cook_day"], unrelated["major_cook_state"]) == (60, "death")


def test_no_complication_is_none() -> None:
    row = outcome(course={"rechecks": [visit(42)]})
    assert (row["n_complications"], row["worst_severity"]) == (0, "none")


def test_infection_windows() -> None:
    found = {
        (20, "superficial"): (True, True, True),
        (60, "superficial"): (False, False, False),
        (60, "deep"): (False, True, True),
        (200, "organ_space"): (False, False, True),
        (60, None): (False, None, None),
    }
    rows = outcomes(*(
        joint(course={"rechecks": [visit(400)], "complications": [
            event("surgical_site_infection", day, ssi_depth=depth)]})
        for day, depth in found
    ))  # fmt: skip
    assert [(row["ssi_30"], row["ssi_90"], row["ssi_365"]) for row in rows] == list(found.values())


def test_a_deep_infection_without_implant_counts_within_30_days_only() -> None:
    told = event("septic_arthritis", 60)
    row = outcome(procedure=NO_TTT, course={"rechecks": [visit(400)], "complications": [told]})
    assert (row["ssi_30"], row["ssi_90"], row["ssi_365"]) == (False, False, False)


def test_freedom_from_infection_needs_a_contact() -> None:
    row = outcome(course={"rechecks": [visit(14)]})
    assert (row["ssi_30"], row["ssi_90"]) == (None, None)


def test_ratios_of_the_operation() -> None:
    measured = {
        "osteotomy_depth_mm": 5.0, "tibial_depth_mm": 15.0, "groove_depth_pre_mm": 1.0,
        "groove_depth_post_mm": 3.5,
    }  # fmt: skip
    row = outcome(procedure=measured, course={"rechecks": [visit(42)]}, weight_kg=10.0)
    assert row["osteotomy_ratio"] == pytest.approx(1 / 3)
    assert row["kwire_depth_ratio"] == pytest.approx(2 * 1.0 / 5.0)
    assert row["groove_gain_mm"] == pytest.approx(2.5)
    assert row["weight_band"] == "10 to 19.9"
    assert row["log_weight_kg"] == pytest.approx(2.302585092994046)
