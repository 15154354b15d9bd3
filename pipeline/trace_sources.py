"""Which source variables stand behind each column of the cohort."""

from collections.abc import Iterable, Mapping

from schemas.codebook import CANONICAL_TABLES, Variable

Sources = tuple[str, ...]  # "table.variable"

SURGERY: Sources = ("stifles.surgery_date",)
CODES: Sources = ("stifles.local_animal", "stifles.side")
END: Sources = ("stifles.end_of_followup_day", "stifles.end_status")
LOCK: Sources = ("clinics.data_lock_date", "clinics.dates_shifted")
VISITS: Sources = ("rechecks.recheck_day", "rechecks.recheck_mode", "rechecks.patella_grade",
                   "rechecks.recheck_direction")  # fmt: skip
EVENTS: Sources = ("complications.detected_day", "complications.complication_type",
                   "complications.treatment", "complications.intraoperative")  # fmt: skip
REVISIONS: Sources = ("revisions.revision_day", "revisions.revision_reason")
IMPLANTS: Sources = ("implants.implant_type", "implants.implant_removed_day",
                     "implants.implant_removal_reason")  # fmt: skip
HELD_BY: Sources = ("procedures.ttt_done", "procedures.ttt_fixation", "procedures.kwire_count",
                    "procedures.tension_band_done")  # fmt: skip
SEVERITY: Sources = ("complications.severity_class",)
PROTOCOL: Sources = (
    "animals.species", "stifles.luxation_direction", "stifles.grade_preop", "stifles.surgery_date",
    "clinics.accrual_start", "clinics.accrual_end", "stifles.previous_stifle_surgery",
    "stifles.aetiology", "procedures.sulcoplasty_type", "procedures.ttt_done",
    "procedures.femoral_osteotomy", "procedures.medial_release", "procedures.lateral_imbrication",
    "procedures.antirotational_suture", "procedures.cruciate_procedure",
)  # fmt: skip
LUXATION: Sources = (*SURGERY, *VISITS, *EVENTS, *REVISIONS, *END, *LOCK)
OF_IMPLANT: Sources = (*SURGERY, *HELD_BY, *EVENTS, *IMPLANTS, *REVISIONS,
                       "rechecks.recheck_day", *END, *LOCK)  # fmt: skip
MAJOR: Sources = (*SURGERY, *EVENTS, *SEVERITY, *REVISIONS, "rechecks.recheck_day", *END, *LOCK)
DEPTHS: Sources = ("procedures.osteotomy_depth_mm", "procedures.tibial_depth_mm",
                   "measurements.measure", "measurements.value")  # fmt: skip
FUNCTION: Sources = (*SURGERY, "rechecks.recheck_day", "rechecks.function_class", *LOCK)
PINNED: Sources = ("procedures.ttt_done", "procedures.ttt_fixation")
BAND: Sources = ("procedures.tension_band_done", "procedures.tb_pattern")
PLACE: Sources = ("procedures.tb_hole_distance_mm", "procedures.kwire_distance_mm")

BY_COLUMN: Mapping[str, Sources] = {
    "stifle_id": (*CODES, "stifles.local_stifle"),
    "animal_id": ("animals.local_animal",),
    "session_type": (*SURGERY, "stifles.side"),
    "first_joint": (*SURGERY, "stifles.side"),
    "left_at": PROTOCOL,
    "set_a": PROTOCOL,
    "set_b": (*PROTOCOL, *VISITS),
    "set_c": (*PROTOCOL, "stifles.side"),
    "set_d": (*PROTOCOL, *HELD_BY),
    "log_weight_kg": ("stifles.weight_kg",),
    "weight_band": ("stifles.weight_kg",),
    "osteotomy_ratio": DEPTHS, "osteotomy_ratio_raters": (*DEPTHS, "measurements.rater_id"),
    "kwire_depth_ratio": ("procedures.kwire_count", "procedures.kwire_diameter_mm",
                          "procedures.osteotomy_depth_mm"),
    "hole_distance_ratio": (*PLACE, "procedures.tension_band_done"),
    "usual_osteotomy_depth": (*DEPTHS, "procedures.ttt_done"),
    "usual_bridge": ("procedures.distal_bridge", "procedures.ttt_done"),
    "usual_wires": (*PINNED, "procedures.kwire_count", "procedures.kwire_arrangement"),
    "usual_wire_level": (*PINNED, "procedures.kwire_level"),
    "usual_band": (*PINNED, "procedures.tension_band_done"),
    "usual_hole": (*PLACE, "procedures.tension_band_done"),
    "usual_pattern": BAND, "usual_crossing": (*BAND, "procedures.tb_crossing"),
    "usual_twists": ("procedures.tension_band_done", "procedures.tb_twists"),
    "surgeon_case_in_study": ("procedures.surgeon_id", *SURGERY, "clinics.accrual_start",
                              "clinics.dates_shifted"),
    "groove_gain_mm": ("procedures.groove_depth_pre_mm", "procedures.groove_depth_post_mm"),
    "surgery_year": ("stifles.surgery_year", *SURGERY),
    "admin_end_day": (*SURGERY, *LOCK, "stifles.lock_day"),
    "last_contact_day": (*SURGERY, "rechecks.recheck_day", "complications.detected_day",
                         "revisions.revision_day", "implants.implant_removed_day", *END),
    "at_risk_implant": (*HELD_BY, *IMPLANTS),
    "n_complications": (*SURGERY, *EVENTS),
    "worst_severity": (*SURGERY, *EVENTS, *SEVERITY),
    "last_function_class": FUNCTION, "last_function_day": FUNCTION,
}  # fmt: skip
BY_BEGINNING: Mapping[str, Sources] = {
    "relux_": LUXATION, "opposite_": LUXATION,
    "implant_": OF_IMPLANT, "tuberosity_": OF_IMPLANT, "hardware_": OF_IMPLANT,
    "irritation_": OF_IMPLANT,
    "major_": MAJOR,
    "ssi_": (*SURGERY, *EVENTS, *SEVERITY, "complications.ssi_depth", *IMPLANTS, *HELD_BY, *END),
    "adequate_": (*SURGERY, *VISITS, *LOCK), "last_adequate_day": (*SURGERY, *VISITS, *LOCK),
    "complete_follow_up": (*SURGERY, *VISITS, *LOCK),
}  # fmt: skip
OF_STIFLE = ("stifles", "animals", "procedures")  # a row each, whose variables are columns
IN_ORDER = ("stifles", "animals", "procedures", *CANONICAL_TABLES)


def sources_of(column: str, codebook: Iterable[Variable]) -> Sources:
    """Name the source variables behind a column; () where it is no column of the cohort."""
    declared = {f"{item.table}.{item.name}" for item in codebook}
    found = BY_COLUMN.get(column)
    if found is None:
        own = [f"{table}.{column}" for table in OF_STIFLE if f"{table}.{column}" in declared]
        begins = next((name for name in BY_BEGINNING if column.startswith(name)), "")
        found = tuple(own[:1]) or BY_BEGINNING.get(begins, ())
    return tuple(name for name in dict.fromkeys(found) if name in declared)
