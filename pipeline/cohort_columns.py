"""The cohort's columns: words as codes; keys, standing, baseline, then times and outcomes."""

from collections.abc import Iterable, Mapping
from functools import cache

import polars as pl

from schemas.codebook import by_name, of_table, read_codebook

KEYS = ("stifle_id", "animal_id", "clinic_id", "local_animal", "local_stifle", "side",
        "surgery_date", "surgery_year", "session_type", "first_joint", "left_at",
        "set_a", "set_b", "set_c", "set_d")  # fmt: skip
DERIVED = ("log_weight_kg", "weight_band", "osteotomy_ratio", "kwire_depth_ratio",
           "groove_gain_mm", "at_risk_implant", "osteotomy_ratio_raters",
           "hole_distance_ratio", "usual_osteotomy_depth", "usual_bridge", "usual_wires",
           "usual_wire_level", "usual_band", "usual_hole", "usual_pattern", "usual_crossing",
           "usual_twists", "surgeon_case_in_study")  # fmt: skip
FOLLOW_UP = ("end_of_followup_day", "end_status", "death_cause", "admin_end_day",
             "last_adequate_day", "last_contact_day", "adequate_91", "adequate_183",
             "adequate_365", "complete_follow_up")  # fmt: skip
RELUXATION = (
    "relux_held", "relux_day", "relux_state", "relux_left", "relux_right",
    "relux_important_day", "relux_important_state", "relux_revised_day", "relux_revised_state",
    "relux_day_all_deaths", "relux_state_all_deaths", "relux_possible_day",
    "relux_possible_state", "relux_day_held_event", "relux_state_held_event",
    "relux_day_held_free", "relux_state_held_free", "opposite_day", "opposite_state",
)  # fmt: skip
IMPLANT = (
    "implant_held", "implant_day", "implant_state", "implant_day_held_event",
    "implant_state_held_event", "implant_day_held_free", "implant_state_held_free",
    "tuberosity_day", "tuberosity_state", "hardware_day", "hardware_state", "irritation_day",
    "irritation_state",
)  # fmt: skip
COMPLICATIONS = (
    "major_held", "major_cook_day", "major_cook_state", "major_revision_day",
    "major_revision_state", "ssi_30", "ssi_90", "ssi_365", "n_complications", "worst_severity",
    "last_function_class", "last_function_day",
)  # fmt: skip
# Helps of the way there that are no variables of the study.
WORKING = ("shifted", "accrual_start", "accrual_end", "surely_adequate_day", "stable_day",
           "implant_free_day", "last_known_day", "followed_day")  # fmt: skip


@cache
def words_of(*names: str) -> pl.Enum:
    """Give the words that variables declare, all together, in the order of the alphabet."""
    known = by_name(read_codebook())
    return pl.Enum(sorted({word for name in names for word in known[name].codes}))


@cache
def declared_words(*names: str) -> Mapping[str, pl.Enum]:
    """Give the words of each of these variables of the cohort, in the order declared."""
    known = by_name(of_table(read_codebook(), "cohort"))
    return {name: pl.Enum(list(known[name].codes)) for name in names}


def ordered(table: pl.DataFrame, horizons: Iterable[int]) -> pl.DataFrame:
    """Put the columns in order and take out what was needed on the way only.

    The rows are in the order of stifle ids, by which stifles have their numbers.
    """
    days = [f"{name}_by_{day}" for name in ("relux", "implant") for day in horizons]
    last = (*DERIVED, *FOLLOW_UP, *RELUXATION, *IMPLANT, *days, *COMPLICATIONS)
    baseline = [name for name in table.columns if name not in {*KEYS, *last, *WORKING}]
    return table.select(*KEYS, *baseline, *last)
