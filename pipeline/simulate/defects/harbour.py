"""Defects of harbour."""

from datetime import date, datetime

from pipeline.simulate.defects.choose import (
    alone,
    both,
    dead,
    filled,
    quiet,
    says,
    years_off,
)  # fmt: skip
from pipeline.simulate.planting import Defect


def _read(cell: object) -> date:
    return datetime.strptime(str(cell), "%m/%d/%Y").date()


HARBOUR = (
    Defect(kind="kilograms in the pounds column", rule="R31", column="Weight (lb)",
           where=both(alone, lambda row, case: case.facts["weight_kg"] < 3.2
                      and case.facts["species"] == "dog"),
           change=lambda row, case: {"Weight (lb)": f"{case.facts['weight_kg']:.1f}"}),
    Defect(kind="unreadable age", rule="M04", column="Age", where=alone,
           change=lambda row, case: {"Age": "young adult"}),
    Defect(kind="recheck before surgery", rule="R14", column="RC1 date",
           where=both(quiet, lambda row, case: int(case.rechecks[0]["recheck_day"]) < 300),
           change=lambda row, case: {"RC1 date": years_off(_read(row["RC1 date"]), -1).strftime(
               "%m/%d/%Y")}),
    Defect(kind="luxated without a complication", rule="R27", column="RC2 exam",
           where=both(quiet, lambda row, case: len(case.rechecks) == 2,
                      says("RC2 exam", "stable")),
           change=lambda row, case: {"RC2 exam": f"{row['Luxation']} 1"}),
    Defect(kind="millimetres in the inches column", rule="C02", column="Pin (in)",
           where=filled("Pin (in)"), change=lambda row, case: {"Pin (in)": "1.2"}),
    Defect(kind="gauge without a meaning", rule="M04", column="TB wire (ga)",
           where=filled("TB wire (ga)"), change=lambda row, case: {"TB wire (ga)": "21.5"}),
    Defect(kind="unknown code", rule="M01", column="Comp1 class",
           where=filled("Comp1 class"), change=lambda row, case: {"Comp1 class": "moderate"}),
    Defect(kind="day before month", rule="M03", column="Sx date",
           where=both(alone, quiet, lambda row, case: case.operated.day > 12),
           change=lambda row, case: {"Sx date": case.operated.strftime("%d/%m/%Y")}),
    Defect(kind="death without a cause", rule="R19", column="Death", where=dead,
           change=lambda row, case: {"Death": ""}),
    Defect(kind="transposition left out", rule="R63", column="Groove",
           where=lambda row, case: case.facts["grade_preop"] == 3
           and case.facts["femoral_osteotomy"] == "none" and not case.facts["ttt_done"],
           change=lambda row, case: {"Groove": "none"}),
)  # fmt: skip
