"""Harbour: North American habits; tabs, pounds, inches, gauge, rechecks beside the case."""

from datetime import date
from pathlib import Path

from pipeline.simulate.baseline import KG_PER_POUND
from pipeline.simulate.casebook import Case, Row
from pipeline.simulate.grid import Grid, Record, called, decimal, delimited, numbered, say
from pipeline.simulate.technique import MM_PER_INCH
from shared.files import write_text

RECHECKS, COMPLICATIONS, REOPERATIONS = 6, 3, 2
HEADER = (
    "Record", "Species", "Breed", "Sex", "Age", "Weight (lb)", "Sx date", "Leg", "Luxation",
    "Grade", "Pre-op lameness", "CCL", "Previous sx", "Surgeon", "Groove", "TTT", "Fixation",
    "Pin (in)", "TB wire (ga)", "Crest bridge", "Cut depth (mm)", "Tibia depth (mm)", "Release",
    "Imbrication", "AR suture", "DFO", "CCL repair",
    *numbered(("RC# date", "RC# exam", "RC# lameness"), RECHECKS),
    *numbered(("Comp#", "Comp# date", "Comp# class", "Comp# tx"), COMPLICATIONS),
    *numbered(("Reop# date", "Reop# reason"), REOPERATIONS),
    "Last contact", "Status", "Death", "Notes",
)  # fmt: skip
SPECIES = {"dog": "K9", "cat": "Fel"}
SEX = {"female_entire": "F", "female_neutered": "FS", "male_entire": "M", "male_neutered": "MC"}
BREED = {
    "Yorkshire Terrier": "Yorkie", "Jack Russell Terrier": "JRT", "crossbreed": "Mix",
    "Cavalier King Charles Spaniel": "CKCS", "French Bulldog": "Frenchie",
    "Staffordshire Bull Terrier": "Staffy", "Labrador Retriever": "Lab",
    "Domestic Shorthair": "DSH", "British Shorthair": "BSH",
}  # fmt: skip
LEG = {"left": "LH", "right": "RH"}
LUXATION = {"medial": "MPL", "lateral": "LPL"}
CRUCIATE = {"intact": "ok", "partial_rupture": "partial tear", "complete_rupture": "full tear"}
GROOVE = {
    "none": "none", "block_recession": "TBR", "wedge_recession": "TWR",
    "semicylindrical_recession": "SCR", "abrasion": "abrasion",
}  # fmt: skip
TTT = {"lateral": "Lat", "medial": "Med"}
RELEASE = {
    "none": "none", "retinaculum": "retinaculum",
    "retinaculum_and_capsule": "retinaculum/capsule", "with_sartorius": "w/ sartorius",
}  # fmt: skip
GAUGE = {"0.64": "22", "0.8": "20", "1": "18"}
DFO = {"none": "No", "closing_wedge": "Closing wedge"}
REPAIR = {"none": "No", "extracapsular_suture": "Lateral suture"}
KIND = {
    "reluxation": "reluxation", "opposite_luxation": "overcorrection",
    "kwire_migration": "pin migration", "kwire_breakage": "pin breakage",
    "wire_breakage": "TB wire broken", "wire_loosening": "TB wire loose",
    "screw_or_plate_failure": "screw failure", "tuberosity_fracture": "crest fracture",
    "tuberosity_displacement": "crest displacement", "implant_irritation": "hardware irritation",
    "seroma": "seroma", "suture_reaction": "suture reaction",
    "persistent_lameness": "persistent lameness",
}  # fmt: skip
INFECTION = {"superficial": "SSI superficial", "deep": "SSI deep"}
CLASS = {
    "minor": "minor", "major_medical": "major-medical", "major_surgical": "major-surgical",
    "catastrophic": "catastrophic",
}  # fmt: skip
ACTION = {
    "none": "none", "rest_or_bandage": "rest", "drug": "meds", "aspiration": "drained",
    "implant_removal": "hardware removal", "revision_surgery": "revision",
    "amputation": "amputation", "euthanasia": "euthanasia",
}  # fmt: skip
REASON = {
    "reluxation": "reluxation", "implant_migration": "pin migration",
    "implant_breakage": "hardware failure", "implant_irritation": "hardware irritation",
    "tuberosity_fracture": "crest fracture", "planned_removal": "elective removal",
    "other": "other",
}  # fmt: skip
STATUS = {
    "under_follow_up": "active", "discharged": "released", "lost": "lost", "died": "died",
    "euthanised": "euthanized", "amputated": "amputated",
}  # fmt: skip


def sheets(cases: list[Case]) -> list[Grid]:
    """Fill the one file."""
    grid = Grid(file="patella_cases.txt", header=HEADER)
    for case in cases:
        row = _case(case) | _operation(case.facts) | _events(case)
        grid.add(case, row)
    return [grid]


def save(grids: list[Grid], folder: Path) -> None:
    """Write UTF-8 with tabs and line feeds."""
    for grid in grids:
        write_text(folder / grid.file, delimited(grid, delimiter="\t", newline="\n"))


def _day(day: date) -> str:
    return day.strftime("%m/%d/%Y")


def _case(case: Case) -> Record:
    facts = case.facts
    years, months = divmod(round(facts["age_months"]), 12)
    return {
        "Record": case.animal,
        "Species": say(facts["species"], SPECIES),
        "Breed": called(facts["breed"], BREED),
        "Sex": say(facts["sex_neuter"], SEX),
        "Age": f"{years}y {months}m" if years else f"{months}m",
        "Weight (lb)": decimal(facts["weight_kg"] / KG_PER_POUND, places=1),
        "Sx date": _day(case.operated),
        "Leg": say(facts["side"], LEG),
        "Luxation": say(facts["luxation_direction"], LUXATION),
        "Grade": f"{facts['grade_preop']}/4",
        "Pre-op lameness": facts["lameness_preop"],
        "CCL": say(facts["cruciate_status"], CRUCIATE),
        "Previous sx": facts["previous_stifle_surgery"],
        "Surgeon": facts["surgeon_id"],
        "Last contact": _day(case.last_known),
        "Status": say(facts["end_status"], STATUS),
        "Death": facts["death_cause"] or "",
    }


def _operation(facts: Row) -> Record:
    pin, wire = facts["kwire_diameter_mm"], facts["tb_wire_diameter_mm"]
    return {
        "Groove": say(facts["sulcoplasty_type"], GROOVE),
        "TTT": say(facts["ttt_direction"], TTT, empty="No"),
        "Fixation": _fixation(facts),
        "Pin (in)": "N/A" if pin is None else f"{pin / MM_PER_INCH:.3f}",
        "TB wire (ga)": "N/A" if wire is None else GAUGE[decimal(wire)],
        "Crest bridge": facts["distal_bridge"] or "N/A",
        "Cut depth (mm)": decimal(facts["osteotomy_depth_mm"]) or "N/A",
        "Tibia depth (mm)": decimal(facts["tibial_depth_mm"]) or "N/A",
        "Release": say(facts["medial_release"], RELEASE),
        "Imbrication": "Yes" if facts["lateral_imbrication"] else "No",
        "AR suture": "Yes" if facts["antirotational_suture"] else "No",
        "DFO": say(facts["femoral_osteotomy"], DFO),
        "CCL repair": say(facts["cruciate_procedure"], REPAIR),
    }


def _fixation(facts: Row) -> str:
    if not facts["ttt_done"]:
        return "N/A"
    if facts["kwire_count"] is None:
        return "screw"
    return f"{facts['kwire_count']}P" + ("+TB" if facts["tension_band_done"] else "")


def _events(case: Case) -> Record:
    row: Record = {}
    for place, visit in enumerate(case.rechecks, start=1):
        row |= {
            f"RC{place} date": _day(visit["date"]),
            f"RC{place} exam": _exam(visit),
            f"RC{place} lameness": visit["lameness_score"],
        }
    for place, event in enumerate(case.complications, start=1):
        depth = event["ssi_depth"]
        row |= {
            f"Comp{place}": INFECTION[depth] if depth else say(event["complication_type"], KIND),
            f"Comp{place} date": _day(event["date"]),
            f"Comp{place} class": say(event["severity_class"], CLASS),
            f"Comp{place} tx": say(event["treatment"], ACTION),
        }
    for place, event in enumerate(case.revisions, start=1):
        row |= {
            f"Reop{place} date": _day(event["date"]),
            f"Reop{place} reason": say(event["revision_reason"], REASON),
        }
    return row


def _exam(visit: Row) -> str:
    if visit["recheck_mode"] == "telephone":
        return "phone"
    grade, direction = visit["patella_grade"], visit["patella_direction"]
    found = f"{LUXATION[direction]} {grade}" if grade else "stable"
    return found + (" (rDVM)" if visit["recheck_mode"] == "other_veterinarian" else "")
