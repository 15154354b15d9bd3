"""Defects of valley: one row per animal, so the column says which side or block is wrong."""

from datetime import date, datetime, timedelta

from pipeline.simulate.casebook import Case
from pipeline.simulate.defects.choose import alone, both, dead, filled, quiet, says
from pipeline.simulate.grid import Record
from pipeline.simulate.planting import Defect


def _read(cell: object) -> date:
    return datetime.strptime(str(cell), "%d.%m.%Y").date()


def _day(day: date) -> str:
    return day.strftime("%d.%m.%Y")


def _second_session_near(row: Record, case: Case) -> Record:
    return {"OP-Datum re": _day(_read(row["OP-Datum re"]) + timedelta(days=9))}


VALLEY = (
    Defect(kind="decimal comma lost", rule="R30", column="KGW li (kg)",
           where=both(alone, filled("KGW li (kg)")),
           change=lambda row, case: {"KGW li (kg)": str(row["KGW li (kg)"]).replace(",", "")}),
    Defect(kind="age impossible", rule="R33", column="Alter re (J)",
           where=both(alone, filled("Alter re (J)")),
           change=lambda row, case: {"Alter re (J)": "0,10"}),
    Defect(kind="unknown word in a list", rule="M05", column="OP-Technik li",
           where=lambda row, case: "Keilrezession" in str(row.get("OP-Technik li", "")),
           change=lambda row, case: {"OP-Technik li": str(row["OP-Technik li"]).replace(
               "Keilrezession", "Keilrez.")}),
    Defect(kind="same session with a mistyped date", rule="R11", column="OP-Datum re",
           where=lambda row, case: row.get("OP-Datum li") == row.get("OP-Datum re")
           and case.operated.day < 15,
           change=_second_session_near),
    Defect(kind="telephone with a stability grade", rule="R28", column="Kontr2 Patella li",
           where=both(says("Kontr2 Art", "Telefon"), filled("Kontr2 Patella li")),
           change=lambda row, case: {"Kontr2 Patella li": "stabil"}),
    Defect(kind="death without a cause", rule="R19", column="Todesursache", where=dead,
           change=lambda row, case: {"Todesursache": "-"}),
    Defect(kind="band wire without a band", rule="R45", column="Cerclage li (mm)",
           where=lambda row, case: " KD" in str(row.get("OP-Technik li", ""))
           and "Zuggurtung" not in str(row["OP-Technik li"]),
           change=lambda row, case: {"Cerclage li (mm)": "0,8"}),
    Defect(kind="grade after surgery in the wrong column", rule="R39", column="Grad re",
           where=lambda row, case: "TTT" in str(row.get("OP-Technik re", "")),
           change=lambda row, case: {"Grad re": "Grad 1"}),
    Defect(kind="follow-up ends before the last recheck", rule="R16", column="Letzte Info",
           where=both(alone, quiet), change=lambda row, case: {"Letzte Info": _day(
               case.operated + timedelta(days=20))}),
    Defect(kind="unreadable weeks", rule="M02", column="Kontr2 (Wo)",
           where=both(alone, filled("Kontr2 (Wo)")),
           change=lambda row, case: {"Kontr2 (Wo)": "ca. 3 Monate"}),
    Defect(kind="transposition towards the luxation", rule="R41", column="Richtung li",
           where=lambda row, case: "TTT lateral" in str(row.get("OP-Technik li", "")),
           change=lambda row, case: {"Richtung li": "lateral"}),
)  # fmt: skip
