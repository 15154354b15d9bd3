"""Lake: a French clinic; one workbook of three sheets, titles, totals, two kinds of dates."""

from datetime import UTC, date, datetime
from pathlib import Path

import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from pipeline.simulate.casebook import Case, Row
from pipeline.simulate.grid import Cell, Grid, Record, called, say
from shared.files import replacing

FILE = "rotules_lac.xlsx"
OPERATIONS = (
    "N° dossier", "Espèce", "Race", "Sexe", "Âge (mois)", "Poids (kg)", "Date op.", "Côté",
    "Sens", "Stade", "Boiterie /5", "LCC", "Chirurgie antérieure", "Chirurgien",
    "Trochléoplastie", "TCT", "Fixation", "Broches", "Ø broche (mm)", "Hauban", "Ø fil (mm)",
    "Charnière distale", "Prof. ostéotomie (mm)", "Prof. tibia (mm)", "Libération",
    "Imbrication", "Suture antirotatoire", "Ostéotomie fémorale", "Suture LCC",
    "Dernières nouvelles", "Statut", "Cause du décès",
)  # fmt: skip
CONTROLS = (
    "N° dossier", "Côté", "Date", "Type", "Rotule", "Sens", "Boiterie /5", "Commentaire",
)  # fmt: skip
COMPLICATIONS = (
    "N° dossier", "Côté", "Date", "Complication", "Gravité", "Traitement", "Profondeur ISO",
    "Peropératoire", "Date reprise", "Motif reprise",
)  # fmt: skip
SPECIES = {"dog": "chien", "cat": "chat"}
SEX = {
    "female_entire": "F", "female_neutered": "F stér.", "male_entire": "M",
    "male_neutered": "M castré",
}  # fmt: skip
BREED = {
    "Yorkshire Terrier": "Yorkshire", "Pomeranian": "Spitz nain", "Maltese": "Bichon maltais",
    "Toy Poodle": "Caniche toy", "Jack Russell Terrier": "Jack Russell",
    "Cavalier King Charles Spaniel": "Cavalier King Charles",
    "French Bulldog": "Bouledogue français",
    "Staffordshire Bull Terrier": "Staffie", "Labrador Retriever": "Labrador",
    "crossbreed": "croisé", "Domestic Shorthair": "Européen", "British Shorthair": "British",
}  # fmt: skip
SIDE = {"left": "G", "right": "D"}
DIRECTION = {"medial": "médiale", "lateral": "latérale"}
CRUCIATE = {
    "intact": "intact", "partial_rupture": "rupture partielle",
    "complete_rupture": "rupture complète",
}  # fmt: skip
EARLIER = {"none": "aucune", "cruciate": "LCC", "fracture": "fracture", "other": "autre"}
GROOVE = {
    "none": "aucune", "block_recession": "en bloc", "wedge_recession": "en coin",
    "semicylindrical_recession": "semi-cylindrique", "abrasion": "abrasion",
}  # fmt: skip
FIXATION = {
    "k_wire": "broches", "k_wire_tension_band": "broches + hauban", "screw": "vis",
}  # fmt: skip
BRIDGE = {"intact": "intacte", "cracked": "fissurée", "detached": "détachée"}
RELEASE = {
    "none": "aucune", "retinaculum": "rétinaculum",
    "retinaculum_and_capsule": "rétinaculum et capsule",
    "with_sartorius": "avec sartorius",
}  # fmt: skip
FEMORAL = {"none": "aucune", "closing_wedge": "fermeture"}
REPAIR = {"none": "non", "extracapsular_suture": "fabello-tibiale"}
STATUS = {
    "under_follow_up": "suivi en cours", "discharged": "clos", "lost": "perdu de vue",
    "died": "décédé", "euthanised": "euthanasié", "amputated": "amputé",
}  # fmt: skip
CAUSE = {"stifle_related": "grasset", "unrelated": "sans lien", "unknown": "inconnue"}
SEEN = {
    "operating_clinic": "consultation", "other_veterinarian": "vétérinaire traitant",
    "telephone": "téléphone",
}  # fmt: skip
KIND = {
    "reluxation": "récidive", "opposite_luxation": "luxation opposée",
    "kwire_migration": "migration de broche", "kwire_breakage": "rupture de broche",
    "wire_breakage": "rupture du hauban", "wire_loosening": "hauban détendu",
    "screw_or_plate_failure": "rupture de vis", "tuberosity_fracture": "fracture de la tubérosité",
    "tuberosity_displacement": "déplacement de la tubérosité",
    "implant_irritation": "gêne due aux implants", "seroma": "sérome",
    "surgical_site_infection": "ISO", "suture_reaction": "réaction au fil",
    "persistent_lameness": "boiterie persistante",
}  # fmt: skip
CLASS = {
    "minor": "mineure", "major_medical": "majeure médicale",
    "major_surgical": "majeure chirurgicale", "catastrophic": "catastrophique",
}  # fmt: skip
ACTION = {
    "none": "néant", "rest_or_bandage": "repos", "drug": "médicament", "aspiration": "ponction",
    "implant_removal": "retrait des implants", "revision_surgery": "reprise",
    "amputation": "amputation", "euthanasia": "euthanasie",
}  # fmt: skip
DEPTH = {"superficial": "superficielle", "deep": "profonde"}
REASON = {
    "reluxation": "récidive", "implant_migration": "migration",
    "implant_breakage": "rupture d'implant",
    "implant_irritation": "gêne", "tuberosity_fracture": "fracture tubérosité",
    "planned_removal": "retrait prévu", "other": "autre",
}  # fmt: skip
EPOCH = datetime(2000, 1, 1, tzinfo=UTC).replace(tzinfo=None)


def sheets(cases: list[Case]) -> list[Grid]:
    """Fill the three sheets."""
    operations = Grid(
        file=FILE, sheet="Opérations", header=OPERATIONS,
        title=(("Luxations de la rotule, clinique du lac",), ("extrait du registre",)),
        foot=(("TOTAL", f"{len(cases)} opérations"),),
    )  # fmt: skip
    controls = Grid(file=FILE, sheet="Contrôles", header=CONTROLS, title=(("Contrôles",),))
    complications = Grid(
        file=FILE, sheet="Complications", header=COMPLICATIONS, title=(("Complications",),)
    )
    for case in cases:
        operations.add(case, _operation(case))
        for visit in case.rechecks:
            controls.add(case, _control(case, visit))
        for row in _complications(case):
            complications.add(case, row)
    return [operations, controls, complications]


def save(grids: list[Grid], folder: Path) -> None:
    """Write one workbook; its creation date is fixed, so the same study gives the same bytes."""
    with replacing(folder / FILE) as draft:
        book = xlsxwriter.Workbook(draft, {"default_date_format": "dd/mm/yyyy"})
        book.set_properties({"created": EPOCH})
        for grid in grids:
            sheet = book.add_worksheet(grid.sheet)
            for number, line in enumerate(grid.cells()):
                for column, cell in enumerate(line):
                    _put(sheet, number, column, cell=cell)
        book.close()


def _put(sheet: Worksheet, row: int, column: int, *, cell: Cell) -> None:
    if isinstance(cell, date):
        sheet.write_datetime(row, column, datetime(cell.year, cell.month, cell.day))
    elif isinstance(cell, str):
        if cell:
            sheet.write_string(row, column, cell)
    else:
        sheet.write_number(row, column, cell)


def _day(day: date, case: Case) -> Cell:
    # One secretary types dates as text, the others enter real dates.
    return day.strftime("%d/%m/%Y") if case.animal.endswith(("3", "7")) else day


def _yes(value: object) -> str:
    return "oui" if value else "non"


def _operation(case: Case) -> Record:
    facts = case.facts
    row: Record = {
        "N° dossier": case.animal,
        "Espèce": say(facts["species"], SPECIES),
        "Race": called(facts["breed"], BREED),
        "Sexe": say(facts["sex_neuter"], SEX),
        "Âge (mois)": round(facts["age_months"]),
        "Poids (kg)": facts["weight_kg"],
        "Date op.": _day(case.operated, case),
        "Côté": say(facts["side"], SIDE),
        "Sens": say(facts["luxation_direction"], DIRECTION),
        "Stade": facts["grade_preop"],
        "Boiterie /5": facts["lameness_preop"],
        "LCC": say(facts["cruciate_status"], CRUCIATE),
        "Chirurgie antérieure": say(facts["previous_stifle_surgery"], EARLIER),
        "Chirurgien": facts["surgeon_id"],
        "Trochléoplastie": say(facts["sulcoplasty_type"], GROOVE),
        "Libération": say(facts["medial_release"], RELEASE),
        "Imbrication": _yes(facts["lateral_imbrication"]),
        "Suture antirotatoire": _yes(facts["antirotational_suture"]),
        "Ostéotomie fémorale": say(facts["femoral_osteotomy"], FEMORAL),
        "Suture LCC": say(facts["cruciate_procedure"], REPAIR),
        "Dernières nouvelles": _day(case.last_known, case),
        "Statut": say(facts["end_status"], STATUS),
        "Cause du décès": say(facts["death_cause"], CAUSE, empty="s.o."),
    }
    return row | _transposition(facts)


def _transposition(facts: Row) -> Record:
    def size(name: str) -> Cell:
        return "s.o." if facts[name] is None else facts[name]

    moved = bool(facts["ttt_done"])
    return {
        "TCT": say(facts["ttt_direction"], DIRECTION, empty="non"),
        "Fixation": say(facts["ttt_fixation"], FIXATION, empty="s.o."),
        "Broches": size("kwire_count"),
        "Ø broche (mm)": size("kwire_diameter_mm"),
        "Hauban": _yes(facts["tension_band_done"]) if moved else "s.o.",
        "Ø fil (mm)": size("tb_wire_diameter_mm"),
        "Charnière distale": say(facts["distal_bridge"], BRIDGE, empty="s.o."),
        "Prof. ostéotomie (mm)": size("osteotomy_depth_mm"),
        "Prof. tibia (mm)": size("tibial_depth_mm"),
    }


def _control(case: Case, visit: Row) -> Record:
    grade = visit["patella_grade"]
    seen = "NR" if grade is None else f"stade {grade}" if grade else "en place"
    return {
        "N° dossier": case.animal,
        "Côté": say(case.facts["side"], SIDE),
        "Date": _day(visit["date"], case),
        "Type": say(visit["recheck_mode"], SEEN),
        "Rotule": seen,
        "Sens": say(visit["patella_direction"], DIRECTION),
        "Boiterie /5": visit["lameness_score"],
        "Commentaire": "RAS" if visit["lameness_score"] == 0 else "",
    }


def _complications(case: Case) -> list[Record]:
    key: Record = {"N° dossier": case.animal, "Côté": say(case.facts["side"], SIDE)}
    rows: list[Record] = []
    for event in case.complications:
        again = case.revision_of(event)
        rows.append(key | {
            "Date": _day(event["date"], case),
            "Complication": say(event["complication_type"], KIND),
            "Gravité": say(event["severity_class"], CLASS),
            "Traitement": say(event["treatment"], ACTION),
            "Profondeur ISO": say(event["ssi_depth"], DEPTH),
            "Peropératoire": _yes(event["intraoperative"]),
        } | ({} if again is None else _again(again, case)))  # fmt: skip
    planned = [row for row in case.revisions if row["revision_reason"] == "planned_removal"]
    return rows + [key | _again(row, case) for row in planned]


def _again(row: Row, case: Case) -> Record:
    return {
        "Date reprise": _day(row["date"], case),
        "Motif reprise": say(row["revision_reason"], REASON),
    }
