"""Cases of the rules on one operation: rule, what breaks it, what does not."""

from datetime import date
from typing import Any

from tests.pipeline.checks.small_changes import Change, procedure, stifle

Case = tuple[str, dict[str, Any], dict[str, Any]]


def _pair(rule: str, broken: Change, fine: Change) -> Case:
    return rule, {"changes": broken}, {"changes": fine}


def _operation(rule: str, broken: dict[str, object], fine: dict[str, object]) -> Case:
    return _pair(rule, procedure(**broken), procedure(**fine))


OPERATION_CASES: tuple[Case, ...] = (
    _pair("R20", stifle(end_of_followup_day=29), stifle(end_of_followup_day=30)),
    _pair("R20", stifle(end_of_followup_day=29),
          stifle(end_of_followup_day=29, end_status="euthanised")),
    # The export was drawn on 30 June 2024: 29 and 30 days after these operations.
    _pair("R20", stifle(end_of_followup_day=20, surgery_date=date(2024, 5, 31)),
          stifle(end_of_followup_day=20, surgery_date=date(2024, 6, 1))),
    _pair("R35", stifle(physis_open=True, age_months=13), stifle(physis_open=True, age_months=12)),
    _pair("R35", stifle(physis_open=True, age_months=19, weight_kg=48.0),
          stifle(physis_open=True, age_months=18, weight_kg=48.0)),
    _pair("R35", stifle(physis_open=False, age_months=4), stifle(physis_open=False, age_months=5)),
    _pair("R36", stifle(age_months=5), stifle(age_months=6)),
    # An open physis at 30 months is asked about by R35, not as a bone cut too early.
    _pair("R36", stifle(physis_open=True, age_months=10),
          stifle(physis_open=True, age_months=30)),
    _pair("R40", stifle(grade_preop=4, lameness_preop=0), stifle(grade_preop=4, lameness_preop=1)),
    _operation("R50", {"kwire_diameter_mm": 1.6, "osteotomy_depth_mm": 4.7, "kwire_count": 1},
               {"kwire_diameter_mm": 1.6, "osteotomy_depth_mm": 4.9, "kwire_count": 1}),
    _operation("R50", {"kwire_diameter_mm": 1.6, "osteotomy_depth_mm": 6.3},
               {"kwire_diameter_mm": 1.6, "osteotomy_depth_mm": 6.4}),
    _operation("R54", {"transposition_mm": 12.1}, {"transposition_mm": 12.0}),
    _operation("R55", {"distal_bridge": "detached", "ttt_fixation": "k_wire"},
               {"distal_bridge": "detached"}),
    _operation("R58", {"tb_pieces": 2, "tb_twists": 1}, {"tb_pieces": 2, "tb_twists": 2}),
    _operation("R58", {"tb_pieces": 1, "tb_twists": 3}, {"tb_pieces": 1, "tb_twists": 2}),
    _operation("R59", {"tb_hole_distance_mm": 1.9}, {"tb_hole_distance_mm": 2.0}),
    _operation("R62", {"recess_width_mm": 6.1, "groove_width_pre_mm": 6.0},
               {"recess_width_mm": 6.0, "groove_width_pre_mm": 6.0}),
    _operation("R62", {"recess_width_mm": 4.7, "patella_width_mm": 8.0},
               {"recess_width_mm": 4.9, "patella_width_mm": 8.0}),
    _pair("R64", {**stifle(weight_kg=4.9), **procedure(femoral_osteotomy="derotation")},
          {**stifle(weight_kg=5.0), **procedure(femoral_osteotomy="derotation")}),
    _pair("R64", {"animals": {1: {"species": "cat"}}, **procedure(femoral_osteotomy="derotation")},
          {"animals": {1: {"species": "cat"}}}),
    _operation("R85", {"tb_hole_distance_mm": 9.1, "kwire_distance_mm": 6.0},
               {"tb_hole_distance_mm": 9.0, "kwire_distance_mm": 6.0}),
    _operation("R86", {"tb_crossing": "distal_to_tuberosity"}, {"tb_crossing": "over_tuberosity"}),
    _operation("R86", {"tb_crossing": "distal_to_tuberosity"},
               {"tb_crossing": "distal_to_tuberosity", "tb_pattern": "simple_loop"}),
    _operation("R87", {"sulcoplasty_type": "abrasion", "recess_fit": "press_fit"},
               {"recess_fit": "press_fit"}),
    _operation("R87", {"sulcoplasty_type": "abrasion", "fragment_fractured": True},
               {"sulcoplasty_type": "abrasion", "fragment_fractured": False}),
)  # fmt: skip
