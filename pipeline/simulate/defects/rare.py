"""Further defects of the five dialects, which the demo does not hold and a benchmark plants."""

from datetime import date, datetime, timedelta

from pipeline.simulate.casebook import Case
from pipeline.simulate.defects.choose import (
    alone,
    anyone,
    both,
    dead,
    filled,
    quiet,
    same_session,
    says,
)
from pipeline.simulate.grid import Record
from pipeline.simulate.planting import Defect

RECHECKS, COMPLICATIONS = 1, 2


def _day(day: date) -> str:
    return day.strftime("%d/%m/%Y")


def _pair_dead(row: Record, case: Case) -> bool:
    return dead(row, case) and not alone(row, case)


def _healed_before(row: Record, case: Case) -> bool:
    if not row.get("Date found"):
        return False
    found = datetime.strptime(str(row["Date found"]), "%d/%m/%Y").date()
    return bool(case.facts["ttt_done"]) and any(
        visit["osteotomy_healing"] == "complete" and visit["date"] < found
        for visit in case.rechecks
    )


NORTH_RARE = (
    Defect(kind="both sides in one cell", rule="M01", column="Limb", where=both(alone, quiet),
           change=lambda row, case: {"Limb": "L+R"}),
    Defect(kind="row copied", rule="R07", sheet=RECHECKS, column="Patient No", where=quiet,
           change=lambda row, case: {"Patient No": row["Patient No"]}, adds_row=True),
    Defect(kind="training patient", rule="R08", column="Breed", where=alone,
           change=lambda row, case: {"Breed": "TEST dog"}),
    Defect(kind="staged without the other side", rule="R10", column="Session", where=alone,
           change=lambda row, case: {"Session": "staged"}),
    Defect(kind="two weights on one day", rule="R12", column="Weight (kg)", where=same_session,
           change=lambda row, case: {"Weight (kg)": f"{case.facts['weight_kg'] + 0.9:.1f}"}),
    Defect(kind="two days of death", rule="R18", column="Last known", where=_pair_dead,
           change=lambda row, case: {"Last known": _day(case.last_known + timedelta(days=3))}),
    Defect(kind="wire too thick for the band", rule="R57", column="Band wire (mm)",
           where=both(filled("Band wire (mm)"), lambda row, case: case.facts["weight_kg"] < 14),
           change=lambda row, case: {"Band wire (mm)": "1.2"}),
    Defect(kind="fragment too thin", rule="R52", column="Osteotomy depth (mm)",
           where=filled("Osteotomy depth (mm)"),
           change=lambda row, case: {
               "Osteotomy depth (mm)": f"{0.17 * case.facts['tibial_depth_mm']:.1f}"}),
    Defect(kind="groove measured without sulcoplasty", rule="R60", column="Trochleoplasty",
           where=filled("Groove after (mm)"), change=lambda row, case: {"Trochleoplasty": "None"}),
    Defect(kind="fracture after union", rule="R78", sheet=COMPLICATIONS, column="Complication",
           where=_healed_before,
           change=lambda row, case: {"Complication": "Tuberosity fracture", "Infection depth": ""}),
    Defect(kind="bridge not said", rule="C04", column="Distal bridge",
           where=filled("Distal bridge"), change=lambda row, case: {"Distal bridge": "ND"}),
    Defect(kind="score out of the usual", rule="C05", column="BCS", where=anyone,
           change=lambda row, case: {"BCS": "9/9"}),
    Defect(kind="telephone number in a comment", rule="S01", sheet=RECHECKS, column="Comment",
           where=anyone, change=lambda row, case: {"Comment": "ring 01632 960 983"}),
)  # fmt: skip
VALLEY_RARE = (
    Defect(kind="year of birth for age", rule="R34", column="Alter li (J)",
           where=filled("Alter li (J)"), change=lambda row, case: {"Alter li (J)": "19,5"}),
    Defect(kind="date of surgery unreadable", rule="M07", column="OP-Datum li",
           where=both(filled("OP-Datum li"), filled("Kompl1 Datum"), says("Kompl1 Seite", "li")),
           change=lambda row, case: {"OP-Datum li": "Frühjahr"}),
)  # fmt: skip
LAKE_RARE = (
    Defect(kind="age in days", rule="R34", column="Âge (mois)", where=quiet,
           change=lambda row, case: {"Âge (mois)": 205}),
)  # fmt: skip
PLATEAU_RARE = (
    Defect(kind="two ends of follow-up", rule="M14", column="estado",
           where=lambda row, case: row["evento"] == "BAJA" and row["estado"] == "perdido",
           change=lambda row, case: {"estado": "alta"}, adds_row=True),
)  # fmt: skip
RARE = {
    "north": NORTH_RARE, "valley": VALLEY_RARE, "lake": LAKE_RARE, "plateau": PLATEAU_RARE,
}  # fmt: skip
