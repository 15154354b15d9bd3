"""Defects of lake; a cell of the workbook may be a number, a date or a text."""

from datetime import date, datetime, timedelta

from pipeline.simulate.casebook import Case
from pipeline.simulate.defects.choose import (
    Where,
    alone,
    anyone,
    both,
    early_event,
    quiet,
    same_session,
    says,
    years_off,
)  # fmt: skip
from pipeline.simulate.grid import Cell, Record
from pipeline.simulate.planting import Defect

CONTROLS, COMPLICATIONS = 1, 2


def _read(cell: Cell | None) -> date:
    if isinstance(cell, date):
        return cell
    return datetime.strptime(str(cell), "%d/%m/%Y").date()


def _number(column: str, low: float, high: float) -> Where:
    def fits(row: Record, case: Case) -> bool:
        cell = row.get(column)
        return isinstance(cell, int | float) and low <= cell <= high

    return fits


def _infection_found_late(row: Record, case: Case) -> Record:
    return {"Date": _read(row["Date"]) + timedelta(days=45)}


def _again(row: Record, case: Case) -> Record:
    return {"Date": _read(row["Date"]) + timedelta(days=6)}


LAKE = (
    Defect(kind="number typed with its unit", rule="M02", column="Poids (kg)", where=alone,
           change=lambda row, case: {"Poids (kg)": f"{row['Poids (kg)']} kg env."}),
    Defect(kind="grade 0", rule="R38", column="Stade", where=quiet,
           change=lambda row, case: {"Stade": 0}),
    Defect(kind="wires counted as 0", rule="R47", column="Broches",
           where=both(_number("Broches", 1, 2), says("Fixation", "broches")),
           change=lambda row, case: {"Broches": 0}),
    Defect(kind="band contradicts fixation", rule="R46", column="Hauban",
           where=says("Fixation", "broches + hauban"),
           change=lambda row, case: {"Hauban": "non"}),
    Defect(kind="surgery outside the accrual period", rule="R13", column="Date op.",
           where=both(alone, quiet), change=lambda row, case: {"Date op.": years_off(
               _read(row["Date op."]), 2014 - case.operated.year)}),
    Defect(kind="cruciate suture on an intact ligament", rule="R43", column="Suture LCC",
           where=says("LCC", "intact"),
           change=lambda row, case: {"Suture LCC": "fabello-tibiale"}),
    Defect(kind="wire too thick for the weight", rule="R48", column="Ø broche (mm)",
           where=both(_number("Ø broche (mm)", 0.5, 1.0),
                      lambda row, case: case.facts["weight_kg"] < 7.5),
           change=lambda row, case: {"Ø broche (mm)": 1.8}),
    Defect(kind="side missing", rule="M06", sheet=CONTROLS, column="Côté", where=same_session,
           change=lambda row, case: {"Côté": "?"}),
    Defect(kind="tuberosity fracture without an osteotomy", rule="R67", sheet=COMPLICATIONS,
           column="Complication", where=lambda row, case: not case.facts["ttt_done"],
           change=lambda row, case: {"Complication": "fracture de la tubérosité",
                                     "Profondeur ISO": ""}),
    Defect(kind="severity missing", rule="C03", sheet=COMPLICATIONS, column="Gravité",
           where=says("Traitement", "néant"), change=lambda row, case: {"Gravité": "NR"}),
    Defect(kind="infection outside its window", rule="R75", sheet=COMPLICATIONS, column="Date",
           where=says("Profondeur ISO", "superficielle"), change=_infection_found_late),
    Defect(kind="one event entered twice", rule="R77", sheet=COMPLICATIONS, column="Date",
           where=lambda row, case: early_event(case), change=_again, adds_row=True),
    Defect(kind="unknown complication", rule="M01", sheet=COMPLICATIONS, column="Complication",
           where=anyone, change=lambda row, case: {"Complication": "hygroma"}),
)  # fmt: skip
