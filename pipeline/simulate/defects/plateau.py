"""Defects of plateau: one row per event."""

from datetime import timedelta

from pipeline.simulate.casebook import Case
from pipeline.simulate.defects.choose import Where, alone, both, dead, quiet, same_session
from pipeline.simulate.dialects.plateau import day_text, grams
from pipeline.simulate.grid import Record
from pipeline.simulate.planting import Defect


def _event(name: str, rule: Where = lambda row, case: True) -> Where:
    return lambda row, case: row["evento"] == name and rule(row, case)


def _other_spelling(row: Record, case: Case) -> Record:
    return {"id_caso": str(row["id_caso"]).replace("E/0", "E-"),
            "peso_g": grams(case.facts["weight_kg"] * 1.01)}  # fmt: skip


def _later_operation(row: Record, case: Case) -> Record:
    return {"fecha": day_text(case.operated + timedelta(days=74)), "tecnica": "TTT lateral;agujas",
            "agujas": "1x1", "banda": "no", "puente": "íntegro"}  # fmt: skip


PLATEAU = (
    Defect(kind="thousands dot read as a decimal", rule="R30", column="peso_g",
           where=_event("CIRUGIA", alone),
           change=lambda row, case: {"peso_g": str(row["peso_g"]).replace(".", ",")[:-2]}),
    Defect(kind="side missing", rule="M06", column="lado", where=_event("REVISION", same_session),
           change=lambda row, case: {"lado": ""}),
    Defect(kind="unknown kind of event", rule="M11", column="evento", where=_event("LLAMADA"),
           change=lambda row, case: {"evento": "CORREO"}),
    Defect(kind="one animal under two codes", rule="R06", column="id_caso",
           where=_event("CIRUGIA", both(alone, quiet)), change=_other_spelling, adds_row=True),
    Defect(kind="complication after death", rule="R17", column="fecha", where=_event("BAJA", dead),
           change=lambda row, case: {"evento": "COMPLICACION", "estado": "", "causa": "",
                                     "fecha": day_text(case.last_known + timedelta(days=12)),
                                     "complicacion": "seroma", "gravedad": "leve",
                                     "tratamiento": "ninguno"},
           adds_row=True),
    Defect(kind="earlier patellar surgery", rule="R42", column="cirugia_previa",
           where=_event("CIRUGIA"), change=lambda row, case: {"cirugia_previa": "rótula"}),
    Defect(kind="revision entered as a first operation", rule="R70", column="fecha",
           where=_event("CIRUGIA", both(alone, quiet, lambda row, case: int(
               case.facts["end_of_followup_day"]) > 100
               and case.facts["luxation_direction"] == "medial")),
           change=_later_operation, adds_row=True),
    Defect(kind="amputation called minor", rule="R73", column="tratamiento",
           where=lambda row, case: row["evento"] == "COMPLICACION" and row["gravedad"] == "leve",
           change=lambda row, case: {"tratamiento": "amputación"}),
    Defect(kind="recheck of an animal that was not sent", rule="R01", column="id_caso",
           where=_event("REVISION", lambda row, case: len(case.rechecks) > 2),
           change=lambda row, case: {"id_caso": "E/0990"}, adds_row=True),
)  # fmt: skip
