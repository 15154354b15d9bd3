"""Defects that need columns no dialect of the demo has, planted in canonical files of north."""

from pipeline.simulate.canonical import TABLES
from pipeline.simulate.casebook import Case
from pipeline.simulate.defects.choose import anyone, filled, quiet, says
from pipeline.simulate.grid import Record
from pipeline.simulate.planting import Defect

PLACE = {name: number for number, name in enumerate(TABLES)}


def _deepened(row: Record, case: Case) -> bool:
    return case.facts["sulcoplasty_type"] in ("none", "abrasion")


CANONICAL = (
    Defect(kind="unknown code", rule="M01", sheet=PLACE["stifles"], column="grade_state",
           where=anyone, change=lambda row, case: {"grade_state": "drowsy"}),
    Defect(kind="interval upside down", rule="R24", sheet=PLACE["complications"],
           column="last_negative_day", where=filled("detected_day"),
           change=lambda row, case: {"last_negative_day": f"{int(str(row['detected_day'])) + 20}"}),
    Defect(kind="thick bridge called detached", rule="R56", sheet=PLACE["procedures"],
           column="distal_bridge_mm", where=says("distal_bridge", "detached"),
           change=lambda row, case: {"distal_bridge_mm": "3.1"}),
    Defect(kind="fragment moved without a fragment", rule="R69", sheet=PLACE["complications"],
           column="complication_type", where=_deepened,
           change=lambda row, case: {"complication_type": "trochlear_fragment_displacement"}),
    Defect(kind="removal without its reason", rule="R76", sheet=PLACE["implants"],
           column="implant_removed_day", where=quiet,
           change=lambda row, case: {"implant_removed_day": "20",
                                     "implant_removal_reason": "irritation"}),
    Defect(kind="wrong image", rule="R80", sheet=PLACE["measurements"], column="image_day",
           where=anyone, change=lambda row, case: {"image_day": "45"}),
    Defect(kind="one operation described twice", rule="C06", sheet=PLACE["procedures"],
           column="surgeon_id", where=anyone,
           change=lambda row, case: {"surgeon_id": "NS9"}, adds_row=True),
    Defect(kind="bilateral as a side", rule="R03", sheet=PLACE["stifles"], column="side",
           where=quiet, change=lambda row, case: {"side": ""}),
)  # fmt: skip
