"""Each rule on a row that breaks it and on a row that does not."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from pipeline.checks.dates import date_texts, day_kinds
from pipeline.checks.evaluate import find_broken
from pipeline.checks.rows import complete
from pipeline.intake.mapped import Mapped
from schemas.codebook import Variable
from schemas.rules.every import RULES
from schemas.rules.joined import join_tables
from tests.pipeline.checks.network_cases import NETWORK_CASES
from tests.pipeline.checks.operation_cases import OPERATION_CASES
from tests.pipeline.checks.small_changes import (
    DIED,
    EVENT,
    IMAGE,
    IMPLANT,
    MAJOR,
    NO_BAND,
    NO_GROOVE,
    NO_TTT,
    REVISION,
    again,
    animal_again,
    dates,
    event,
    many,
    procedure,
    revision,
    stifle,
    token,
    twin,
    visit,
)

Codebook = tuple[Variable, ...]
Build = Callable[..., Mapped]
MIXED = (*["20/03/2022"] * 4, *["03/20/2022"] * 4, "04/05/2022", "05/04/2022")
TUBEROSITY = {"complication_type": "tuberosity_fracture", "detected_day": 30,
              "severity_class": "major_surgical", "treatment": "declined"}  # fmt: skip

# rule: (what breaks it, what does not), each as arguments of `build`
# One line a rule, in one place so that a rule without its two rows is seen: hence the length.
CASES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "R01": (visit(local_stifle="Z-1:left", recheck_day=20), visit(recheck_day=20)),
    "R02": (again(weight_kg=9.0), {"changes": stifle(weight_kg=9.0)}),
    "R03": ({"changes": stifle(side=None, local_stifle=None)},
            {"changes": stifle(side="left")}),
    "R04": (animal_again(breed="Beagle"), animal_again()),
    "R05": (token("k1"), token("k2")),
    "R06": (twin("north"), twin("north", weight_kg=13.0)),
    "R07": (again(), {"changes": stifle()}),
    "R08": ({"changes": {"animals": {1: {"breed": "PRUEBA"}}}},
            {"changes": {"animals": {1: {"breed": "Protestant hound"}}}}),
    "R09": ({"changes": stifle(session_type_reported="bilateral_same_session")},
            {"changes": stifle(session_type_reported="unilateral")}),
    "R10": ({"changes": stifle(session_type_reported="bilateral_staged")},
            {"changes": {"stifles": {0: {"session_type_reported": "bilateral_staged"}}}}),
    "R11": ({"changes": {"stifles": {1: {"surgery_date": date(2020, 3, 24)}}}},
            {"changes": {"stifles": {1: {"surgery_date": date(2020, 4, 24)}}}}),
    "R12": ({"changes": {"stifles": {1: {"surgery_date": date(2020, 3, 14), "age_months": 31}}}},
            {"changes": {"stifles": {1: {"surgery_date": date(2020, 3, 14), "age_months": 30}}}}),
    "R13": ({"changes": stifle(surgery_date=date(2014, 12, 31))},
            {"changes": stifle(surgery_date=date(2015, 1, 1))}),
    "R14": (visit(recheck_day=-3), visit(recheck_day=0)),
    "R15": (visit(recheck_day=773), visit(recheck_day=399)),
    "R16": (visit(recheck_day=401), visit(recheck_day=400)),
    "R17": ({"changes": stifle(**DIED)},
            {"changes": stifle(**DIED | {"end_of_followup_day": 180})}),
    "R18": ({"changes": {"stifles": {0: {"end_status": "died", "end_of_followup_day": 900}}}},
            {"changes": {"stifles": {0: {"end_status": "died", "end_of_followup_day": 765}}}}),
    "R19": ({"changes": {"animals": {1: {"death_cause": "unrelated"}}}},
            {"changes": {"animals": {1: {"death_cause": "unrelated"}}, "stifles": {
                2: DIED | {"end_of_followup_day": 400}}}}),
    "R23": (dates(*MIXED), dates(*MIXED[:4], "04/05/2022")),
    "R24": (event(complication_type="seroma", detected_day=60, last_negative_day=61),
            event(complication_type="seroma", detected_day=60, last_negative_day=60)),
    "R26": (event(complication_type="reluxation", detected_day=60),
            event(complication_type="reluxation", detected_day=180)),
    "R27": (visit(recheck_day=200, patella_grade=1, patella_direction="medial"),
            visit(recheck_day=200, patella_grade=1, patella_direction="medial")
            | event(complication_type="reluxation", detected_day=200)),
    "R28": (visit(recheck_day=30, recheck_mode="telephone"),
            visit(recheck_day=30, recheck_mode="telephone", patella_grade=None)),
    "R29": (many(31), many(10)),
    "R30": ({"changes": stifle(weight_kg=120.0)}, {"changes": stifle(weight_kg=40.0)}),
    "R31": ({"changes": stifle(weight_kg=60.0)}, {"changes": stifle(weight_kg=45.0)}),
    "R33": ({"changes": stifle(age_months=1)}, {"changes": stifle(age_months=2)}),
    "R34": ({"changes": stifle(age_months=190)}, {"changes": stifle(age_months=180)}),
    "R38": ({"changes": stifle(grade_preop=0)}, {"changes": stifle(grade_preop=4)}),
    "R39": ({"changes": stifle(grade_preop=1)},
            {"changes": {**stifle(grade_preop=1), **procedure(**NO_TTT, **NO_GROOVE)}}),
    "R41": ({"changes": procedure(ttt_direction="medial")},
            {"changes": procedure(ttt_direction="lateral_distal")}),
    "R42": ({"changes": stifle(previous_stifle_surgery="patellar")},
            {"changes": stifle(previous_stifle_surgery="cruciate")}),
    "R43": ({"changes": procedure(cruciate_procedure="extracapsular_suture")},
            {"changes": {**procedure(cruciate_procedure="extracapsular_suture"),
                         **stifle(cruciate_status="complete_rupture")}}),
    "R44": ({"changes": procedure(**NO_TTT | {"kwire_diameter_mm": 1.2})},
            {"changes": procedure(**NO_TTT | {"kwire_count": 0, "tension_band_done": False})}),
    "R45": ({"changes": procedure(**NO_BAND | {"tb_pattern": "simple_loop"})},
            {"changes": procedure(**NO_BAND)}),
    "R46": ({"changes": procedure(ttt_fixation="k_wire")}, {"changes": procedure(**NO_BAND)}),
    "R47": ({"changes": procedure(kwire_count=1)},
            {"changes": procedure(kwire_count=1, kwire_arrangement="single")}),
    "R48": ({"changes": procedure(kwire_diameter_mm=2.4)},
            {"changes": procedure(kwire_diameter_mm=1.6)}),
    "R49": ({"changes": procedure(kwire_diameter_mm=0.045)},
            {"changes": procedure(kwire_diameter_mm=1.14)}),
    "R51": ({"changes": procedure(osteotomy_depth_mm=24.0)},
            {"changes": procedure(osteotomy_depth_mm=8.0)}),
    "R52": ({"changes": procedure(osteotomy_depth_mm=4.0)},
            {"changes": procedure(osteotomy_depth_mm=6.0)}),
    "R56": ({"changes": procedure(distal_bridge="detached", distal_bridge_mm=2.0)},
            {"changes": procedure(distal_bridge="cracked", distal_bridge_mm=2.0)}),
    "R57": ({"changes": procedure(tb_wire_diameter_mm=1.2)},
            {"changes": procedure(tb_wire_diameter_mm=1.0)}),
    "R60": ({"changes": procedure(sulcoplasty_type="none")}, {"changes": procedure(**NO_GROOVE)}),
    "R61": ({"changes": procedure(groove_depth_post_mm=2.0)},
            {"changes": procedure(groove_depth_post_mm=2.1)}),
    "R63": ({"changes": {**stifle(grade_preop=3), **procedure(**NO_TTT, **NO_GROOVE)}},
            {"changes": {**stifle(grade_preop=3), **procedure(**NO_GROOVE)}}),
    "R67": (event(**TUBEROSITY) | {"changes": procedure(**NO_TTT)}, event(**TUBEROSITY)),
    "R68": (event(complication_type="wire_breakage", detected_day=40)
            | {"changes": procedure(**NO_BAND)},
            event(complication_type="kwire_migration", detected_day=40)
            | {"changes": procedure(**NO_BAND)}),
    "R69": (event(complication_type="trochlear_fragment_displacement", detected_day=40)
            | {"changes": procedure(sulcoplasty_type="abrasion")},
            event(complication_type="trochlear_fragment_displacement", detected_day=40)),
    "R70": (again(surgery_date=date(2022, 9, 1)),
            {"changes": stifle(surgery_date=date(2022, 9, 1))}),
    "R71": ({"more": {"revisions": [REVISION]}}, revision()),
    "R72": (event(complication_type="reluxation", **MAJOR | {"detected_day": 181}),
            revision()),
    "R73": (event(complication_type="seroma", detected_day=40, treatment="drug"),
            event(complication_type="seroma", detected_day=40, treatment="rest_or_bandage")),
    "R74": (event(complication_type="nerve_injury", detected_day=40, severity_class="catastrophic"),
            event(complication_type="nerve_injury", detected_day=40, severity_class="catastrophic",
                  treatment="amputation")),
    "R75": (event(complication_type="surgical_site_infection", ssi_depth="superficial",
                  detected_day=31),
            event(complication_type="surgical_site_infection", ssi_depth="superficial",
                  detected_day=30)),
    "R76": ({"more": {"implants": [IMPLANT | {"implant_removed_day": 90,
                                              "implant_removal_reason": "irritation"}]}},
            {"more": {"implants": [IMPLANT | {"implant_removed_day": 90,
                                              "implant_removal_reason": "irritation"}],
                      "complications": [EVENT | {"complication_type": "implant_irritation",
                                                   "detected_day": 90}]}}),
    "R77": (event(complication_type="seroma", detected_day=24),
            event(complication_type="seroma", detected_day=25)),
    "R78": (event(**TUBEROSITY | {"detected_day": 100})
            | {"changes": {"rechecks": {4: {"osteotomy_healing": "complete"}}}},
            event(**TUBEROSITY)
            | {"changes": {"rechecks": {4: {"osteotomy_healing": "complete"}}}}),
    "R79": ({"changes": {"complications": {0: MAJOR}}} | many(30), many(30)),
    "R80": ({"more": {"measurements": [IMAGE | {"image_day": 1}]}},
            {"more": {"measurements": [IMAGE]}}),
    "R88": (many(30, luxation_direction="lateral"), many(30)),
    "C06": (event(complication_type="other", detected_day=50, complication_no=1),
            event(complication_type="other", detected_day=50)),
}  # fmt: skip


def breaks(rule: str, study: dict[str, Any], build: Build, codebook: Codebook) -> bool:
    arguments = dict(study)
    mapped = build(arguments.pop("changes", None), **arguments)
    tables = complete(mapped.tables, codebook)
    frames = join_tables(tables) | {
        "date_texts": date_texts(tables), "day_kinds": day_kinds(tables["rechecks"], mapped),
    }  # fmt: skip
    return bool(find_broken([item for item in RULES if item.id == rule], frames))


ALL_CASES = [(rule, *pair) for rule, pair in CASES.items()] + [*OPERATION_CASES, *NETWORK_CASES]


def test_every_rule_has_a_case() -> None:
    assert {rule for rule, _, _ in ALL_CASES} == {rule.id for rule in RULES}


@pytest.mark.parametrize(("rule", "broken", "fine"), sorted(ALL_CASES, key=lambda case: case[0]))
def test_the_rule_speaks_when_broken_and_only_then(
    rule: str, broken: dict[str, Any], fine: dict[str, Any], build: Build, codebook: Codebook
) -> None:
    assert breaks(rule, broken, build, codebook)
    assert not breaks(rule, fine, build, codebook)


@pytest.mark.parametrize(("treatment", "broken"), [("drug", False), ("revision_surgery", True)])
def test_what_was_done_tells_of_an_event_without_a_severity(
    treatment: str,
    broken: bool,
    build: Build,
    codebook: Codebook,
) -> None:
    changes = {"complications": {0: MAJOR | {"severity_class": None, "treatment": treatment}}}
    assert breaks("R79", {"changes": changes} | many(30), build, codebook) == broken
