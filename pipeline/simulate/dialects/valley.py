"""Valley: a German referral clinic; one row per animal, both sides and all rechecks beside."""

from datetime import date
from itertools import groupby
from pathlib import Path

from pipeline.simulate.casebook import Case, Row
from pipeline.simulate.grid import Grid, Record, called, decimal, delimited, numbered, say
from shared.files import write_bytes

SIDES = {"left": "li", "right": "re"}
PER_SIDE = (
    "OP-Datum #", "Alter # (J)", "KGW # (kg)", "Richtung #", "Grad #", "Lahmheit #",
    "Kreuzband #", "Vor-OP #", "OP-Technik #", "Bohrdraht # (mm)", "Cerclage # (mm)",
    "Knochenbrücke #", "Operateur #",
)  # fmt: skip
RECHECKS, COMPLICATIONS, REVISIONS = 8, 6, 4
HEADER = (
    "Pat-Nr", "Tierart", "Rasse", "Geschlecht", "BCS",
    *(name.replace("#", side) for side in SIDES.values() for name in PER_SIDE),
    *numbered(("Kontr# (Wo)", "Kontr# Art", "Kontr# Patella li", "Kontr# Lahmheit li",
               "Kontr# Patella re", "Kontr# Lahmheit re"), RECHECKS),
    *numbered(("Kompl# Seite", "Kompl# Art", "Kompl# Datum", "Kompl# Klasse",
               "Kompl# Maßnahme"), COMPLICATIONS),
    *numbered(("Rev# Seite", "Rev# Datum", "Rev# Grund"), REVISIONS),
    "Letzte Info", "Status", "Todesursache", "Bemerkung",
)  # fmt: skip
SPECIES = {"dog": "Hund", "cat": "Katze"}
BREED = {
    "Pomeranian": "Zwergspitz", "Maltese": "Malteser", "Toy Poodle": "Zwergpudel",
    "Jack Russell Terrier": "Jack-Russell-Terrier", "French Bulldog": "Französische Bulldogge",
    "Staffordshire Bull Terrier": "Staffordshire-Bullterrier", "Labrador Retriever": "Labrador",
    "crossbreed": "Mischling", "Domestic Shorthair": "EKH", "British Shorthair": "BKH",
}  # fmt: skip
SEX = {"female_entire": "w", "female_neutered": "wk", "male_entire": "m", "male_neutered": "mk"}
CRUCIATE = {"intact": "intakt", "partial_rupture": "Teilruptur", "complete_rupture": "Ruptur"}
EARLIER = {"none": "keine", "cruciate": "Kreuzband", "fracture": "Fraktur", "other": "andere"}
BRIDGE = {"intact": "intakt", "cracked": "angebrochen", "detached": "gelöst"}
GROOVE = {
    "block_recession": "Blockrezession", "wedge_recession": "Keilrezession",
    "semicylindrical_recession": "Halbrundrezession", "abrasion": "Abrasion",
}  # fmt: skip
RELEASE = {
    "retinaculum": "Release Retinakulum",
    "retinaculum_and_capsule": "Release Retinakulum u. Kapsel",
    "with_sartorius": "Release m. Sartorius",
}  # fmt: skip
SEEN = {"operating_clinic": "Klinik", "other_veterinarian": "HTA", "telephone": "Telefon"}
KIND = {
    "reluxation": "Reluxation", "opposite_luxation": "Gegenluxation",
    "kwire_migration": "Drahtwanderung", "kwire_breakage": "Bohrdrahtbruch",
    "wire_breakage": "Cerclagebruch", "wire_loosening": "Cerclagelockerung",
    "screw_or_plate_failure": "Schraubenversagen", "tuberosity_fracture": "Tuberositasfraktur",
    "tuberosity_displacement": "Tuberositasdislokation",
    "implant_irritation": "Implantatreizung", "seroma": "Serom",
    "suture_reaction": "Fadenreaktion", "persistent_lameness": "anhaltende Lahmheit",
}  # fmt: skip
INFECTION = {"superficial": "Wundinfektion oberflächlich", "deep": "Wundinfektion tief"}
CLASS = {
    "minor": "leicht", "major_medical": "schwer, konservativ",
    "major_surgical": "schwer, operativ", "catastrophic": "katastrophal",
}  # fmt: skip
ACTION = {
    "none": "keine", "rest_or_bandage": "Ruhe", "drug": "Medikament", "aspiration": "Punktion",
    "implant_removal": "Metallentfernung", "revision_surgery": "Revisions-OP",
    "amputation": "Amputation", "euthanasia": "Euthanasie",
}  # fmt: skip
REASON = {
    "reluxation": "Reluxation", "implant_migration": "Drahtwanderung",
    "implant_breakage": "Implantatbruch", "implant_irritation": "Implantatreizung",
    "tuberosity_fracture": "Tuberositasfraktur", "planned_removal": "geplante Metallentfernung",
    "other": "andere",
}  # fmt: skip
STATUS = {
    "under_follow_up": "in Kontrolle", "discharged": "abgeschlossen", "lost": "nicht erschienen",
    "died": "verstorben", "euthanised": "euthanasiert", "amputated": "amputiert",
}  # fmt: skip
CAUSE = {"stifle_related": "Knie", "unrelated": "unabhängig", "unknown": "unbekannt"}


def sheets(cases: list[Case]) -> list[Grid]:
    """Fill the one file, with a training record at its end."""
    grid = Grid(file="MPL_Auszug.csv", header=HEADER)
    by_animal = groupby(sorted(cases, key=lambda case: case.animal), key=lambda case: case.animal)
    for _, group in by_animal:
        own = list(group)
        grid.add(own[0], _animal(own))
    grid.add(None, {
        "Pat-Nr": "99999", "Tierart": "Hund", "Rasse": "TEST", "Geschlecht": "m", "BCS": "5",
        "OP-Datum li": "01.01.1970", "Alter li (J)": "1", "KGW li (kg)": "99,9",
        "OP-Technik li": "Blockrezession", "Bemerkung": "Testpatient Schulung",
    })  # fmt: skip
    return [grid]


def save(grids: list[Grid], folder: Path) -> None:
    """Write Windows-1252 with carriage returns."""
    for grid in grids:
        text = delimited(grid, delimiter=";", newline="\r\n")
        write_bytes(folder / grid.file, text.encode("cp1252"))


def _day(day: date) -> str:
    return day.strftime("%d.%m.%Y")


def _animal(cases: list[Case]) -> Record:
    facts = cases[0].facts
    row: Record = {
        "Pat-Nr": cases[0].animal,
        "Tierart": say(facts["species"], SPECIES),
        "Rasse": called(facts["breed"], BREED),
        "Geschlecht": say(facts["sex_neuter"], SEX),
        "BCS": facts["bcs"],
        "Letzte Info": _day(cases[0].last_known),
        "Status": say(facts["end_status"], STATUS),
        "Todesursache": say(facts["death_cause"], CAUSE, empty="-"),
    }
    for case in cases:
        row |= _side(case)
    return row | _rechecks(cases) | _complications(cases) | _revisions(cases)


def _side(case: Case) -> Record:
    facts, side = case.facts, SIDES[case.facts["side"]]

    def size(name: str) -> str:
        return "-" if facts[name] is None else decimal(facts[name], comma=True)

    cells: Record = {
        "OP-Datum #": _day(case.operated),
        "Alter # (J)": decimal(facts["age_months"] / 12, comma=True, places=2),
        "KGW # (kg)": decimal(facts["weight_kg"], comma=True, places=2),
        "Richtung #": facts["luxation_direction"],
        "Grad #": f"Grad {facts['grade_preop']}",
        "Lahmheit #": facts["lameness_preop"],
        "Kreuzband #": say(facts["cruciate_status"], CRUCIATE),
        "Vor-OP #": say(facts["previous_stifle_surgery"], EARLIER),
        "OP-Technik #": ", ".join(technique(facts)),
        "Bohrdraht # (mm)": size("kwire_diameter_mm"),
        "Cerclage # (mm)": size("tb_wire_diameter_mm"),
        "Knochenbrücke #": say(facts["distal_bridge"], BRIDGE, empty="-"),
        "Operateur #": facts["surgeon_id"],
    }
    return {name.replace("#", side): cell for name, cell in cells.items()}


def technique(facts: Row) -> list[str]:
    """List what was done in the words of the operation report."""
    words = [GROOVE[facts["sulcoplasty_type"]]] if facts["sulcoplasty_type"] != "none" else []
    if facts["ttt_done"]:
        words.append(f"TTT {facts['ttt_direction']}")
        wires = facts["kwire_count"]
        band = " + Zuggurtung" if facts["tension_band_done"] else ""
        words.append("Zugschraube" if wires is None else f"{wires} KD{band}")
    if facts["medial_release"] != "none":
        words.append(RELEASE[facts["medial_release"]])
    words += [word for name, word in (
        ("lateral_imbrication", "Kapselraffung"), ("antirotational_suture", "Rotationszügel"),
    ) if facts[name]]  # fmt: skip
    if facts["femoral_osteotomy"] != "none":
        words.append("DFO")
    if facts["cruciate_procedure"] != "none":
        words.append("Fabellafaden")
    return words or ["nur Exploration"]


def _rechecks(cases: list[Case]) -> Record:
    """Count weeks from the animal's first operation; a side not looked at stays empty."""
    first = min(case.operated for case in cases)
    visits: dict[int, list[tuple[str, Row]]] = {}
    for case in cases:
        for visit in case.rechecks:
            week, rest = divmod((visit["date"] - first).days, 7)
            if rest:
                raise ValueError(f"a recheck of {case.animal} is not in whole weeks")
            visits.setdefault(week, []).append((SIDES[case.facts["side"]], visit))
    row: Record = {}
    for place, week in enumerate(sorted(visits), start=1):
        row[f"Kontr{place} (Wo)"] = week
        for side, visit in visits[week]:
            row[f"Kontr{place} Art"] = say(visit["recheck_mode"], SEEN)
            row[f"Kontr{place} Patella {side}"] = _patella(visit)
            row[f"Kontr{place} Lahmheit {side}"] = visit["lameness_score"]
    return row


def _patella(visit: Row) -> str:
    if visit["patella_grade"] is None:
        return "k.A."
    if visit["patella_grade"] == 0:
        return "stabil"
    return f"Lux. {visit['patella_direction']} Gr. {visit['patella_grade']}"


def _complications(cases: list[Case]) -> Record:
    events = [(event["date"], SIDES[case.facts["side"]], event)
              for case in cases for event in case.complications]  # fmt: skip
    row: Record = {}
    ordered = sorted(events, key=lambda item: item[:2])
    for place, (day, side, event) in enumerate(ordered, start=1):
        kind = (
            INFECTION[event["ssi_depth"]]
            if event["ssi_depth"]
            else KIND[event["complication_type"]]
        )
        row |= {
            f"Kompl{place} Seite": side,
            f"Kompl{place} Art": kind,
            f"Kompl{place} Datum": _day(day),
            f"Kompl{place} Klasse": say(event["severity_class"], CLASS),
            f"Kompl{place} Maßnahme": say(event["treatment"], ACTION),
        }
    return row


def _revisions(cases: list[Case]) -> Record:
    events = [(event["date"], SIDES[case.facts["side"]], event)
              for case in cases for event in case.revisions]  # fmt: skip
    row: Record = {}
    for place, (day, side, event) in enumerate(sorted(events, key=lambda item: item[:2]), start=1):
        row |= {
            f"Rev{place} Seite": side,
            f"Rev{place} Datum": _day(day),
            f"Rev{place} Grund": say(event["revision_reason"], REASON),
        }
    return row
