"""North: an English university hospital; four comma-separated files, a row per stifle or event."""

from datetime import date, timedelta
from pathlib import Path

from pipeline.simulate.casebook import Case, Row
from pipeline.simulate.dialects.north_images import images
from pipeline.simulate.grid import Grid, Record, called, decimal, delimited, say
from shared.files import write_text

STIFLES = (
    "Patient No", "Species", "Breed", "Sex", "Date of birth", "Surgery date", "Limb", "Session",
    "Weight (kg)", "BCS", "Direction", "Grade", "Lameness (0-5)", "CrCL", "Earlier surgery",
    "Surgeon", "Surgeon level", "Trochleoplasty", "Groove before (mm)", "Groove after (mm)",
    "TTT", "Transposition (mm)", "Osteotomy depth (mm)", "Tibial depth (mm)", "Distal bridge",
    "Fixation", "Pin (mm)", "Pin arrangement", "Pin level", "Pin distance (mm)", "Band wire (mm)",
    "Band pattern", "Band crossing", "Twist knots", "Hole distance (mm)", "Release", "Imbrication",
    "AR suture", "Femoral osteotomy", "Cruciate repair", "Last known", "Status", "Cause of death",
)  # fmt: skip
RECHECKS = (
    "Patient No", "Limb", "Visit date", "Seen by", "Unscheduled", "Patella", "Direction",
    "Lameness (0-5)", "Radiographs", "Comment",
)  # fmt: skip
COMPLICATIONS = (
    "Patient No", "Limb", "Date found", "Complication", "Class", "Action", "Infection depth",
    "In theatre", "Reoperation date", "Reoperation reason", "Comment",
)  # fmt: skip
SPECIES = {"dog": "Canine", "cat": "Feline"}
SEX = {
    "female_entire": "FE", "female_neutered": "FN", "male_entire": "ME", "male_neutered": "MN",
}  # fmt: skip
BREED = {"crossbreed": "Crossbreed", "Domestic Shorthair": "DSH", "British Shorthair": "BSH"}
LIMB = {"left": "L", "right": "R"}
SESSION = {
    "unilateral": "unilateral", "bilateral_same_session": "same session",
    "bilateral_staged": "staged",
}  # fmt: skip
ROMAN = {"1": "I", "2": "II", "3": "III", "4": "IV"}
CRUCIATE = {"intact": "intact", "partial_rupture": "partial", "complete_rupture": "complete"}
LEVEL = {"specialist": "Dipl", "resident_supervised": "Resident"}
GROOVE = {
    "none": "None", "block_recession": "Block recession", "wedge_recession": "Wedge recession",
    "semicylindrical_recession": "Semicylindrical", "abrasion": "Abrasion",
}  # fmt: skip
RELEASE = {
    "none": "none", "retinaculum": "retinaculum",
    "retinaculum_and_capsule": "retinaculum + capsule", "with_sartorius": "incl. sartorius",
}  # fmt: skip
LIE = {"single": "single", "side_by_side": "side by side", "proximodistal": "one above other"}
PIN_LEVEL = {"proximal_to_insertion": "above insertion", "at_insertion": "at insertion"}
PATTERN = {"figure_of_eight": "figure of 8", "simple_loop": "loop"}
CROSSES = {"over_tuberosity": "over tuberosity", "distal_to_tuberosity": "below"}
FEMORAL = {"none": "none", "closing_wedge": "closing wedge"}
REPAIR = {"none": "none", "extracapsular_suture": "lateral suture"}
STATUS = {
    "under_follow_up": "under review", "discharged": "signed off", "lost": "lost", "died": "died",
    "euthanised": "euthanased", "amputated": "amputated",
}  # fmt: skip
SEEN = {"operating_clinic": "Clinic", "other_veterinarian": "Referring vet", "telephone": "Phone"}
HEALING = {
    "none": "no healing", "partial": "healing", "complete": "healed", "displaced": "displaced",
}  # fmt: skip
KIND = {
    "reluxation": "Reluxation", "opposite_luxation": "Opposite luxation",
    "kwire_migration": "Pin migration", "kwire_breakage": "Pin breakage",
    "wire_breakage": "Band wire breakage", "wire_loosening": "Band wire loose",
    "screw_or_plate_failure": "Screw failure", "tuberosity_fracture": "Tuberosity fracture",
    "tuberosity_displacement": "Tuberosity displacement",
    "implant_irritation": "Implant irritation", "seroma": "Seroma",
    "surgical_site_infection": "SSI", "suture_reaction": "Suture reaction",
    "persistent_lameness": "Persistent lameness",
}  # fmt: skip
CLASS = {
    "minor": "Minor", "major_medical": "Major medical", "major_surgical": "Major surgical",
    "catastrophic": "Catastrophic",
}  # fmt: skip
ACTION = {
    "none": "None", "rest_or_bandage": "Rest", "drug": "Medication", "aspiration": "Drained",
    "implant_removal": "Implants removed", "revision_surgery": "Revision",
    "amputation": "Amputation", "euthanasia": "Euthanasia",
}  # fmt: skip
REASON = {
    "reluxation": "reluxation", "implant_migration": "pin migration",
    "implant_breakage": "implant broken", "implant_irritation": "implant irritation",
    "tuberosity_fracture": "tuberosity fracture", "planned_removal": "planned removal",
    "other": "other",
}  # fmt: skip


def sheets(cases: list[Case]) -> list[Grid]:
    """Fill the four files."""
    stifles = Grid(file="stifles.csv", header=STIFLES)
    rechecks = Grid(file="rechecks.csv", header=RECHECKS)
    complications = Grid(file="complications.csv", header=COMPLICATIONS)
    for case in cases:
        stifles.add(case, _stifle(case))
        for visit in case.rechecks:
            rechecks.add(case, _visit(case, visit))
        for row in _complications(case):
            complications.add(case, row)
    return [stifles, rechecks, complications, images(cases)]


def save(grids: list[Grid], folder: Path) -> None:
    """Write UTF-8 with line feeds."""
    for grid in grids:
        write_text(folder / grid.file, delimited(grid, delimiter=",", newline="\n"))


def _day(day: date) -> str:
    return day.strftime("%d/%m/%Y")


def _yes(value: object) -> str:
    return "Y" if value else "N"


def _stifle(case: Case) -> Record:
    facts = case.facts
    born = case.operated - timedelta(days=round(facts["age_months"] * 30.4375))
    return {
        "Patient No": case.animal,
        "Species": say(facts["species"], SPECIES),
        "Breed": called(facts["breed"], BREED),
        "Sex": say(facts["sex_neuter"], SEX),
        "Date of birth": _day(born),
        "Surgery date": _day(case.operated),
        "Limb": say(facts["side"], LIMB),
        "Session": say(facts["session_type_reported"], SESSION),
        "Weight (kg)": decimal(facts["weight_kg"]),
        "BCS": f"{facts['bcs']}/9",
        "Direction": facts["luxation_direction"],
        "Grade": say(facts["grade_preop"], ROMAN),
        "Lameness (0-5)": facts["lameness_preop"],
        "CrCL": say(facts["cruciate_status"], CRUCIATE),
        "Earlier surgery": facts["previous_stifle_surgery"],
        "Surgeon": facts["surgeon_id"],
        "Surgeon level": say(facts["surgeon_level"], LEVEL),
        "Last known": _day(case.last_known),
        "Status": say(facts["end_status"], STATUS),
        "Cause of death": "n/a"
        if facts["death_cause"] is None else facts["death_cause"],
    } | _operation(facts)  # fmt: skip


def _operation(facts: Row) -> Record:
    moved = bool(facts["ttt_done"])

    def size(name: str) -> str:
        return decimal(facts[name]) if facts[name] is not None else "n/a"

    def said(name: str, words: dict[str, str]) -> str:
        return say(facts[name], words) if facts[name] is not None else "n/a"

    return {
        "Trochleoplasty": say(facts["sulcoplasty_type"], GROOVE),
        "Groove before (mm)": size("groove_depth_pre_mm"),
        "Groove after (mm)": size("groove_depth_post_mm"),
        "TTT": facts["ttt_direction"] if moved else "no",
        "Transposition (mm)": size("transposition_mm"),
        "Osteotomy depth (mm)": size("osteotomy_depth_mm"),
        "Tibial depth (mm)": size("tibial_depth_mm"),
        "Distal bridge": facts["distal_bridge"] or "n/a",
        "Fixation": fixation(facts),
        "Pin (mm)": size("kwire_diameter_mm"),
        "Pin arrangement": said("kwire_arrangement", LIE),
        "Pin level": said("kwire_level", PIN_LEVEL),
        "Pin distance (mm)": size("kwire_distance_mm"),
        "Band wire (mm)": size("tb_wire_diameter_mm"),
        "Band pattern": said("tb_pattern", PATTERN),
        "Band crossing": said("tb_crossing", CROSSES),
        "Twist knots": said("tb_twists", {"1": "1", "2": "2"}),
        "Hole distance (mm)": size("tb_hole_distance_mm"),
        "Release": say(facts["medial_release"], RELEASE),
        "Imbrication": _yes(facts["lateral_imbrication"]),
        "AR suture": _yes(facts["antirotational_suture"]),
        "Femoral osteotomy": say(facts["femoral_osteotomy"], FEMORAL),
        "Cruciate repair": say(facts["cruciate_procedure"], REPAIR),
    }


def fixation(facts: Row) -> str:
    """Say in one cell how the tuberosity was held."""
    if not facts["ttt_done"]:
        return "n/a"
    if facts["kwire_count"] is None:
        return "screw"
    pins = "1 pin" if facts["kwire_count"] == 1 else "2 pins"
    return pins + (" + TBW" if facts["tension_band_done"] else "")


def _visit(case: Case, visit: Row) -> Record:
    phone = visit["recheck_mode"] == "telephone"
    grade = visit["patella_grade"]
    taken = "yes" if visit["radiographs_taken"] else "no"
    return {
        "Patient No": case.animal,
        "Limb": say(case.facts["side"], LIMB),
        "Visit date": _day(visit["date"]),
        "Seen by": say(visit["recheck_mode"], SEEN),
        "Unscheduled": _yes(visit["unscheduled"]),
        "Patella": "stable per owner" if phone else f"G{grade}" if grade else "stable",
        "Direction": visit["patella_direction"] or "",
        "Lameness (0-5)": visit["lameness_score"],
        "Radiographs": say(visit["osteotomy_healing"], HEALING, empty=taken),
        "Comment": "NAD otherwise" if visit["lameness_score"] == 0 and not phone else "",
    }


def _complications(case: Case) -> list[Record]:
    limb = say(case.facts["side"], LIMB)
    rows: list[Record] = []
    for event in case.complications:
        again = case.revision_of(event)
        rows.append({
            "Patient No": case.animal,
            "Limb": limb,
            "Date found": _day(event["date"]),
            "Complication": say(event["complication_type"], KIND),
            "Class": say(event["severity_class"], CLASS),
            "Action": say(event["treatment"], ACTION),
            "Infection depth": event["ssi_depth"] or "",
            "In theatre": _yes(event["intraoperative"]),
        } | _reoperation(again))  # fmt: skip
    rows += [
        {"Patient No": case.animal, "Limb": limb, "Comment": "union confirmed"}
        | _reoperation(row)
        for row in case.revisions if row["revision_reason"] == "planned_removal"
    ]  # fmt: skip
    return rows


def _reoperation(row: Row | None) -> Record:
    if row is None:
        return {}
    return {
        "Reoperation date": _day(row["date"]),
        "Reoperation reason": say(row["revision_reason"], REASON),
    }
