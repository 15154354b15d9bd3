"""Defects of growth, weights, constructs, contacts and readings, planted in canonical files."""

from pipeline.simulate.casebook import Case
from pipeline.simulate.defects.canonical import PLACE
from pipeline.simulate.defects.choose import Where, alive, alone, anyone, both, filled, quiet, says
from pipeline.simulate.grid import Record
from pipeline.simulate.planting import Defect

STIFLES, PROCEDURES = PLACE["stifles"], PLACE["procedures"]
RECHECKS, IMAGES = PLACE["rechecks"], PLACE["measurements"]
RECESSION = says("sulcoplasty_type", "block_recession", "wedge_recession")
BANDED = says("tension_band_done", "true")


def _number(row: Record, column: str) -> float:
    return float(str(row[column]))


def _weighs(low: float, high: float) -> Where:
    """Be true of a purebred dog between these weights, kg."""
    return lambda row, case: (
        case.facts["species"] == "dog" and case.facts["breed"] != "crossbreed"
        and low <= case.facts["weight_kg"] < high
    )  # fmt: skip


def _cut_at_half_a_year(row: Record, case: Case) -> bool:
    return bool(case.facts["ttt_done"]) and _number(row, "age_months") < 16


def _found_late_but_seen_before(row: Record, case: Case) -> bool:
    found = int(_number(row, "detected_day"))
    return found > 370 and any(
        visit["patella_grade"] is not None and 0 < found - visit["recheck_day"] < 365
        for visit in case.rechecks
    )


CANONICAL_RARE = (
    Defect(kind="lost within a month", rule="R20", sheet=STIFLES, column="end_of_followup_day",
           where=both(alive, quiet), change=lambda row, case: {"end_of_followup_day": "20"}),
    Defect(kind="one visit entered twice", rule="R21", sheet=RECHECKS, column="recheck_mode",
           where=both(quiet, says("recheck_mode", "operating_clinic")),
           change=lambda row, case: {"recheck_mode": "telephone", "patella_grade": ""},
           adds_row=True),
    Defect(kind="found long after", rule="R25", sheet=PLACE["complications"],
           column="last_negative_day",
           where=_found_late_but_seen_before,
           change=lambda row, case: {"last_negative_day": "3"}),
    Defect(kind="pounds in kg", rule="R32", sheet=STIFLES, column="weight_kg",
           where=both(alone, _weighs(2, 20)),
           change=lambda row, case: {"weight_kg": f"{2.2046 * _number(row, 'weight_kg'):.1f}"}),
    Defect(kind="open plate in a grown animal", rule="R35", sheet=STIFLES, column="physis_open",
           where=lambda row, case: _number(row, "age_months") > 19,
           change=lambda row, case: {"physis_open": "true"}),
    Defect(kind="operated in a puppy", rule="R36", sheet=STIFLES, column="age_months",
           where=_cut_at_half_a_year, change=lambda row, case: {"age_months": "4"}),
    Defect(kind="weight of another animal", rule="R37", sheet=STIFLES, column="weight_kg",
           where=both(alone, _weighs(2, 12)), change=lambda row, case: {
               "weight_kg": f"{4 * _number(row, 'weight_kg'):.1f}", "bcs": "5"}),
    Defect(kind="blank lameness as 0", rule="R40", sheet=STIFLES, column="lameness_preop",
           where=says("grade_preop", "4"), change=lambda row, case: {"lameness_preop": "0"}),
    Defect(kind="wire too thick for the fragment", rule="R50", sheet=PROCEDURES,
           column="kwire_diameter_mm", where=both(filled("kwire_diameter_mm"),
                                                  filled("osteotomy_depth_mm")),
           change=lambda row, case: {
               "kwire_diameter_mm": f"{0.37 * _number(row, 'osteotomy_depth_mm'):.2f}"}),
    Defect(kind="image out of scale", rule="R53", sheet=PROCEDURES, column="tibial_depth_mm",
           where=filled("tibial_depth_mm"), change=lambda row, case: {
               "tibial_depth_mm": f"{2.7 * _number(row, 'tibial_depth_mm'):.1f}"}),
    Defect(kind="moved too far", rule="R54", sheet=PROCEDURES, column="transposition_mm",
           where=filled("tibial_depth_mm"), change=lambda row, case: {
               "transposition_mm": f"{0.6 * _number(row, 'tibial_depth_mm'):.1f}"}),
    Defect(kind="bridge lost without a band", rule="R55", sheet=PROCEDURES, column="distal_bridge",
           where=both(says("ttt_fixation", "k_wire"), says("distal_bridge", "intact", "cracked")),
           change=lambda row, case: {"distal_bridge": "detached"}),
    Defect(kind="knots without wires", rule="R58", sheet=PROCEDURES, column="tb_twists",
           where=BANDED, change=lambda row, case: {"tb_pieces": "2", "tb_twists": "1"}),
    Defect(kind="sign of the hole", rule="R59", sheet=PROCEDURES, column="tb_hole_distance_mm",
           where=BANDED, change=lambda row, case: {"tb_hole_distance_mm": "-6.0"}),
    Defect(kind="widths swapped", rule="R62", sheet=PROCEDURES, column="recess_width_mm",
           where=RECESSION, change=lambda row, case: {"recess_width_mm": "9.4",
                                                      "groove_width_pre_mm": "7.8"}),
    Defect(kind="femur cut in a toy breed", rule="R64", sheet=PROCEDURES,
           column="femoral_osteotomy", where=lambda row, case: case.facts["weight_kg"] < 5,
           change=lambda row, case: {"femoral_osteotomy": "derotation"}),
    Defect(kind="reading entered twice", rule="R81", sheet=IMAGES, column="value", where=anyone,
           change=lambda row, case: {"value": f"{_number(row, 'value') + 0.3:.1f}"},
           adds_row=True),
    Defect(kind="another landmark", rule="R82", sheet=IMAGES, column="value", where=anyone,
           change=lambda row, case: {"value": f"{1.5 * _number(row, 'value'):.1f}",
                                     "rater_id": "R2"}, adds_row=True),
    Defect(kind="millimetre of the screen", rule="R83", sheet=IMAGES, column="value", where=anyone,
           change=lambda row, case: {"value": f"{20 + _number(row, 'value'):.1f}"}),
    Defect(kind="estimated, not measured", rule="R84", sheet=PROCEDURES,
           column="osteotomy_depth_mm", where=filled("osteotomy_depth_mm"),
           change=lambda row, case: {
               "osteotomy_depth_mm": f"{0.78 * _number(row, 'osteotomy_depth_mm'):.1f}"}),
    Defect(kind="hole and wires apart", rule="R85", sheet=PROCEDURES, column="tb_hole_distance_mm",
           where=BANDED, change=lambda row, case: {"tb_hole_distance_mm": "16.0",
                                                   "kwire_distance_mm": "5.0"}),
    Defect(kind="crossing below", rule="R86", sheet=PROCEDURES, column="tb_crossing", where=BANDED,
           change=lambda row, case: {"tb_crossing": "distal_to_tuberosity",
                                     "tb_pattern": "figure_of_eight"}),
    Defect(kind="fit of a block that was not cut", rule="R87", sheet=PROCEDURES,
           column="recess_fit", where=says("sulcoplasty_type", "abrasion"),
           change=lambda row, case: {"recess_fit": "press_fit"}),
)  # fmt: skip
