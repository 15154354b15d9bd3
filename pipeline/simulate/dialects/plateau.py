"""Plateau: a Spanish clinic; a pipe-delimited log, one row per event, with copies and tests."""

from datetime import date
from pathlib import Path

from pipeline.simulate.casebook import Case, Row
from pipeline.simulate.grid import Grid, Record, called, decimal, delimited, say
from shared.files import write_bytes

HEADER = (
    "id_caso", "evento", "fecha", "especie", "raza", "sexo", "edad", "peso_g", "lado", "sentido",
    "grado", "cojera", "lca", "cirugia_previa", "cirujano", "tecnica", "agujas", "banda",
    "puente", "rotula", "complicacion", "gravedad", "tratamiento", "motivo", "tiempo", "estado",
    "causa", "observaciones",
)  # fmt: skip
MONTHS = ("ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic")
SPECIES = {"dog": "perro", "cat": "gato"}
SEX = {
    "female_entire": "hembra", "female_neutered": "hembra esterilizada", "male_entire": "macho",
    "male_neutered": "macho castrado",
}  # fmt: skip
BREED = {
    "Pomeranian": "Pomerania", "Maltese": "Bichón maltés", "Toy Poodle": "Caniche toy",
    "Jack Russell Terrier": "Jack Russell", "Cavalier King Charles Spaniel": "Cavalier",
    "French Bulldog": "Bulldog francés", "Staffordshire Bull Terrier": "Staffordshire Bull",
    "Labrador Retriever": "Labrador", "crossbreed": "mestizo",
    "Domestic Shorthair": "Europeo común", "British Shorthair": "Británico",
}  # fmt: skip
SIDE = {"left": "izq", "right": "dcha"}
CRUCIATE = {
    "intact": "íntegro", "partial_rupture": "rotura parcial", "complete_rupture": "rotura completa",
}  # fmt: skip
EARLIER = {"none": "ninguna", "cruciate": "LCA", "fracture": "fractura", "other": "otra"}
BRIDGE = {"intact": "íntegro", "cracked": "fisurado", "detached": "separado"}
GROOVE = {
    "block_recession": "surcoplastia en bloque", "wedge_recession": "surcoplastia en cuña",
    "semicylindrical_recession": "surcoplastia semicilíndrica", "abrasion": "abrasión",
}  # fmt: skip
FIXATION = {"k_wire": "agujas", "k_wire_tension_band": "agujas+obenque", "screw": "tornillo"}
RELEASE = {
    "retinaculum": "liberación retináculo",
    "retinaculum_and_capsule": "liberación retináculo y cápsula",
    "with_sartorius": "liberación con sartorio",
}  # fmt: skip
KIND = {
    "reluxation": "reluxación", "opposite_luxation": "luxación opuesta",
    "kwire_migration": "migración de aguja", "kwire_breakage": "rotura de aguja",
    "wire_breakage": "rotura de obenque", "wire_loosening": "obenque flojo",
    "screw_or_plate_failure": "fallo de tornillo",
    "tuberosity_fracture": "fractura de la tuberosidad",
    "tuberosity_displacement": "desplazamiento de la tuberosidad",
    "implant_irritation": "molestia por implante", "seroma": "seroma",
    "suture_reaction": "reacción a sutura", "persistent_lameness": "cojera persistente",
}  # fmt: skip
INFECTION = {"superficial": "infección superficial", "deep": "infección profunda"}
CLASS = {
    "minor": "leve", "major_medical": "mayor médica", "major_surgical": "mayor quirúrgica",
    "catastrophic": "catastrófica",
}  # fmt: skip
ACTION = {
    "none": "ninguno", "rest_or_bandage": "reposo", "drug": "medicación", "aspiration": "punción",
    "implant_removal": "retirada de implantes", "revision_surgery": "reintervención",
    "amputation": "amputación", "euthanasia": "eutanasia",
}  # fmt: skip
REASON = {
    "reluxation": "reluxación", "implant_migration": "migración", "implant_breakage": "rotura",
    "implant_irritation": "molestia", "tuberosity_fracture": "fractura tuberosidad",
    "planned_removal": "retirada programada", "other": "otro",
}  # fmt: skip
STATUS = {
    "under_follow_up": "en seguimiento", "discharged": "alta", "lost": "perdido",
    "died": "muerto", "euthanised": "eutanasia", "amputated": "amputado",
}  # fmt: skip
CAUSE = {"stifle_related": "rodilla", "unrelated": "sin relación", "unknown": "desconocida"}
COPIES = (4, 57)  # rows that the export repeats, counted from the first


def sheets(cases: list[Case]) -> list[Grid]:
    """Fill the log in the order of dates of operation, then copies and training patients."""
    grid = Grid(file="cirugia_rotula_v3.txt", header=HEADER)
    for case in cases:
        for row in _log(case):
            grid.add(case, row)
    for place in COPIES:
        if place < len(grid.rows):
            grid.add(grid.cases[place], dict(grid.rows[place]))
    for number in ("E/9998", "E/9999"):
        grid.add(None, {
            "id_caso": number, "evento": "CIRUGIA", "fecha": "01-ene-1900", "especie": "perro",
            "raza": "PRUEBA", "sexo": "macho", "edad": "9 a", "peso_g": "1,0", "lado": "dcha",
            "grado": "1/4", "tecnica": "PRUEBA", "observaciones": "paciente de prueba",
        })  # fmt: skip
    return [grid]


def save(grids: list[Grid], folder: Path) -> None:
    """Write UTF-8 with a byte-order mark and line feeds."""
    for grid in grids:
        text = delimited(grid, delimiter="|", newline="\n")
        write_bytes(folder / grid.file, text.encode("utf-8-sig"))


def day_text(day: date) -> str:
    """Write a date with the Spanish name of its month."""
    return f"{day.day:02d}-{MONTHS[day.month - 1]}-{day.year}"


def grams(weight_kg: float) -> str:
    """Write grams with a dot between thousands and a decimal comma."""
    whole = f"{round(weight_kg * 1000):,}".replace(",", ".")
    return f"{whole},0"


def _log(case: Case) -> list[Record]:
    facts = case.facts
    key: Record = {
        "id_caso": case.animal,
        "especie": say(facts["species"], SPECIES),
        "raza": called(facts["breed"], BREED),
        "lado": say(facts["side"], SIDE),
    }
    rows = [(case.operated, 0, key | _surgery(case))]
    rows += [(event["date"], 1, key | _visit(event, place))
             for place, event in enumerate(case.rechecks)]  # fmt: skip
    rows += [(event["date"], 2, key | _complication(event)) for event in case.complications]
    rows += [(event["date"], 3, key | {
        "evento": "REINTERVENCION", "fecha": day_text(event["date"]),
        "motivo": say(event["revision_reason"], REASON),
    }) for event in case.revisions]  # fmt: skip
    rows.append((case.last_known, 4, key | {
        "evento": "BAJA", "fecha": day_text(case.last_known),
        "estado": say(facts["end_status"], STATUS),
        "causa": say(facts["death_cause"], CAUSE, empty="N/P"),
    }))  # fmt: skip
    return [row for _, _, row in sorted(rows, key=lambda item: item[:2])]


def _surgery(case: Case) -> Record:
    facts = case.facts
    years, months = divmod(round(facts["age_months"]), 12)
    wires, band = facts["kwire_count"], facts["tension_band_done"]
    size = decimal(facts["kwire_diameter_mm"], comma=True)
    wire = decimal(facts["tb_wire_diameter_mm"], comma=True)
    return {
        "evento": "CIRUGIA",
        "fecha": day_text(case.operated),
        "sexo": say(facts["sex_neuter"], SEX),
        "edad": f"{years} a {months} m" if years else f"{months} m",
        "peso_g": grams(facts["weight_kg"]),
        "sentido": facts["luxation_direction"],
        "grado": f"{facts['grade_preop']}/4",
        "cojera": f"{facts['lameness_preop']}/5",
        "lca": say(facts["cruciate_status"], CRUCIATE),
        "cirugia_previa": say(facts["previous_stifle_surgery"], EARLIER),
        "cirujano": facts["surgeon_id"],
        "tecnica": ";".join(_technique(facts)),
        "agujas": "N/P" if wires is None else f"{wires}x{size}",
        "banda": f"si {wire}" if band else "no" if facts["ttt_done"] else "N/P",
        "puente": say(facts["distal_bridge"], BRIDGE, empty="N/P"),
    }


def _technique(facts: Row) -> list[str]:
    words = [GROOVE[facts["sulcoplasty_type"]]] if facts["sulcoplasty_type"] != "none" else []
    if facts["ttt_done"]:
        words += [f"TTT {facts['ttt_direction']}", FIXATION[facts["ttt_fixation"]]]
    if facts["medial_release"] != "none":
        words.append(RELEASE[facts["medial_release"]])
    words += [word for name, word in (
        ("lateral_imbrication", "imbricación"), ("antirotational_suture", "sutura antirrotacional"),
    ) if facts[name]]  # fmt: skip
    if facts["femoral_osteotomy"] != "none":
        words.append("osteotomía femoral")
    if facts["cruciate_procedure"] != "none":
        words.append("sutura extracapsular")
    return words or ["exploración"]


def _visit(visit: Row, place: int) -> Record:
    phone = visit["recheck_mode"] == "telephone"
    weeks, rest = divmod(int(visit["recheck_day"]), 7)
    dated = rest > 0 or place > 0
    grade = visit["patella_grade"]
    seen = (
        "s/d"
        if grade is None
        else f"{grade}/4 {visit['patella_direction']}"
        if grade
        else "estable"
    )
    elsewhere = visit["recheck_mode"] == "other_veterinarian"
    return {
        "evento": "LLAMADA" if phone else "REVISION EXTERNA" if elsewhere else "REVISION",
        "fecha": day_text(visit["date"]) if dated else "s/d",
        "tiempo": "" if dated else f"{weeks} sem",
        "rotula": seen,
        "cojera": f"{visit['lameness_score']}/5",
    }


def _complication(event: Row) -> Record:
    depth = event["ssi_depth"]
    return {
        "evento": "COMPLICACION",
        "fecha": day_text(event["date"]),
        "complicacion": INFECTION[depth] if depth else say(event["complication_type"], KIND),
        "gravedad": say(event["severity_class"], CLASS),
        "tratamiento": say(event["treatment"], ACTION),
    }
