"""Defects of north."""

from datetime import date, datetime, timedelta

from pipeline.simulate.casebook import Case
from pipeline.simulate.defects.choose import (
    alive,
    alone,
    both,
    dead,
    early_event,
    filled,
    quiet,
    same_session,
    says,
    swapped,
    years_off,
)  # fmt: skip
from pipeline.simulate.grid import Record
from pipeline.simulate.planting import Defect

RECHECKS, COMPLICATIONS = 1, 2


def _read(cell: object) -> date:
    return datetime.strptime(str(cell), "%d/%m/%Y").date()


def _day(day: date) -> str:
    return day.strftime("%d/%m/%Y")


def _before_if_swapped(row: Record, case: Case) -> bool:
    other = swapped(_read(row["Visit date"]))
    return other is not None and other < case.operated


def _swap_visit(row: Record, case: Case) -> Record:
    other = swapped(_read(row["Visit date"]))
    assert other is not None
    return {"Visit date": _day(other)}


def _later_visit(row: Record, case: Case) -> Record:
    return {"Visit date": _day(case.last_known + timedelta(days=38)), "Patella": "stable",
            "Direction": "", "Radiographs": "no"}  # fmt: skip


def _too_early_reoperation(row: Record, case: Case) -> Record:
    return {"Reoperation date": _day(_read(row["Date found"]) - timedelta(days=9))}


NORTH = (
    Defect(kind="unknown code", rule="M01", column="Trochleoplasty",
           where=says("Trochleoplasty", "Block recession"),
           change=lambda row, case: {"Trochleoplasty": "Block recesion (mini)"}),
    Defect(kind="half grade", rule="M10", column="Grade", where=says("Grade", "III"),
           change=lambda row, case: {"Grade": "II-III"}),
    Defect(kind="decimal point lost", rule="R30", column="Weight (kg)",
           where=both(alone, lambda row, case: "." in str(row["Weight (kg)"])
                      and case.facts["weight_kg"] > 10),
           change=lambda row, case: {"Weight (kg)": str(row["Weight (kg)"]).replace(".", "")}),
    Defect(kind="pounds as kg", rule="R31", column="Weight (kg)",
           where=both(alone, lambda row, case: 24 < case.facts["weight_kg"] < 40),
           change=lambda row, case: {"Weight (kg)": f"{case.facts['weight_kg'] / 0.45359237:.1f}"}),
    Defect(kind="impossible date", rule="M03", column="Surgery date", where=both(alone, quiet),
           change=lambda row, case: {"Surgery date": f"31/02/{case.operated.year}"}),
    Defect(kind="duplicate joint", rule="R02", column="Weight (kg)", where=both(alone, quiet),
           change=lambda row, case: {"Weight (kg)": f"{case.facts['weight_kg'] + 0.4:.1f}"},
           adds_row=True),
    Defect(kind="sex contradiction", rule="R04", column="Sex",
           where=both(same_session, says("Sex", "FN")),
           change=lambda row, case: {"Sex": "MN"}),
    Defect(kind="tension band without transposition", rule="R44", column="TTT",
           where=both(says("Fixation", "2 pins + TBW", "1 pin + TBW"), quiet),
           change=lambda row, case: {"TTT": "no"}),
    Defect(kind="diameter in inches", rule="R49", column="Pin (mm)", where=filled("Pin (mm)"),
           change=lambda row, case: {"Pin (mm)": "0.045"}),
    Defect(kind="two measures swapped", rule="R51", column="Osteotomy depth (mm)",
           where=filled("Osteotomy depth (mm)"),
           change=lambda row, case: {"Osteotomy depth (mm)": row["Tibial depth (mm)"],
                                     "Tibial depth (mm)": row["Osteotomy depth (mm)"]}),
    Defect(kind="groove depths swapped", rule="R61", column="Groove after (mm)",
           where=both(says("Trochleoplasty", "Block recession", "Wedge recession"),
                      filled("Groove after (mm)")),
           change=lambda row, case: {"Groove after (mm)": row["Groove before (mm)"],
                                     "Groove before (mm)": row["Groove after (mm)"]}),
    Defect(kind="session contradicts dates", rule="R09", column="Session",
           where=says("Session", "unilateral"),
           change=lambda row, case: {"Session": "same session"}),
    Defect(kind="day and month swapped", rule="R14", sheet=RECHECKS, column="Visit date",
           where=both(quiet, _before_if_swapped), change=_swap_visit),
    Defect(kind="recheck after the export", rule="R15", sheet=RECHECKS, column="Visit date",
           where=quiet,
           change=lambda row, case: {"Visit date": _day(years_off(_read(row["Visit date"]), 10))}),
    Defect(kind="telephone with a stability grade", rule="R28", sheet=RECHECKS, column="Patella",
           where=says("Seen by", "Phone"), change=lambda row, case: {"Patella": "stable"}),
    Defect(kind="contact after death", rule="R17", sheet=RECHECKS, column="Visit date",
           where=both(dead, says("Seen by", "Clinic")), change=_later_visit, adds_row=True),
    Defect(kind="stable after reluxation", rule="R26", sheet=COMPLICATIONS, column="Complication",
           where=lambda row, case: early_event(case),
           change=lambda row, case: {"Complication": "Reluxation", "Class": "Minor",
                                     "Action": "None"}),
    Defect(kind="minor but revised", rule="R73", sheet=COMPLICATIONS, column="Class",
           where=says("Action", "Revision"), change=lambda row, case: {"Class": "Minor"}),
    Defect(kind="K-wire event without K-wires", rule="R68", column="Complication",
           sheet=COMPLICATIONS, adds_row=True,
           where=lambda row, case: not case.facts["ttt_done"],
           change=lambda row, case: {"Complication": "Pin migration", "Class": "Minor",
                                     "Action": "None", "Infection depth": ""}),
    Defect(kind="catastrophic without a catastrophe", rule="R74", sheet=COMPLICATIONS,
           column="Class", where=both(alive, says("Action", "None")),
           change=lambda row, case: {"Class": "Catastrophic"}),
    Defect(kind="revision before its reason", rule="R71", sheet=COMPLICATIONS,
           column="Reoperation date",
           where=both(filled("Reoperation date"), filled("Complication"),
                      lambda row, case: len(case.complications) == 1
                      and int(case.complications[0]["detected_day"]) > 20),
           change=_too_early_reoperation),
    Defect(kind="revision not sent", rule="R72", sheet=COMPLICATIONS, column="Reoperation date",
           where=both(says("Action", "Revision"), lambda row, case: len(case.revisions) == 1),
           change=lambda row, case: {"Reoperation date": "", "Reoperation reason": ""}),
)  # fmt: skip
