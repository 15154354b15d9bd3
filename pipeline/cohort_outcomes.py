"""Outcomes and times of every stifle: the statements run as one, their answers taken apart."""

from collections.abc import Mapping

import duckdb
import polars as pl

from pipeline.cohort_columns import declared_words
from pipeline.cohort_tables import by_number
from pipeline.sql import declare, declare_words, open_database, run_chain, with_words

# The statements of outcomes and times: each adds columns to the one before it, from the first on.
STEPS = (
    "contacts", "endings", "reluxation_states", "tuberosity_implants", "implant_days",
    "implant_states", "major_states", "infections", "complication_counts", "derived_measures",
    "adherence",
)  # fmt: skip
# What they ask of the joint, its animal and its operation.
ASKED = (
    "admin_end_day", "end_of_followup_day", "last_known_day", "end_status", "death_cause",
    "luxation_direction",
    "weight_kg", "ttt_done", "ttt_fixation", "kwire_count", "kwire_diameter_mm", "kwire_level",
    "kwire_arrangement", "kwire_distance_mm", "tension_band_done", "tb_hole_distance_mm",
    "tb_pattern", "tb_crossing", "tb_twists", "distal_bridge", "osteotomy_depth_mm",
    "tibial_depth_mm", "femoral_osteotomy", "sulcoplasty_type", "cruciate_procedure",
    "groove_depth_pre_mm", "groove_depth_post_mm",
)  # fmt: skip
# What they give: the ends of time at risk, each a day and a state in one number; and the rest.
ENDS: Mapping[str, tuple[str, str]] = {
    "relux_all_deaths": ("relux_day_all_deaths", "relux_state_all_deaths"),
} | {
    name: (f"{name}_day", f"{name}_state")
    for name in ("relux", "relux_possible", "relux_important", "relux_revised", "opposite",
                 "implant", "tuberosity", "hardware", "irritation", "major_cook",
                 "major_revision")
}  # fmt: skip
GIVEN = (
    "complete_follow_up", "last_contact_day", "followed_day", "at_risk_implant", "ssi_30",
    "ssi_90", "ssi_365", "n_complications", "worst_severity", "log_weight_kg", "weight_band",
    "osteotomy_ratio", "osteotomy_ratio_raters", "kwire_depth_ratio", "groove_gain_mm",
    "hole_distance_ratio", "usual_osteotomy_depth", "usual_bridge", "usual_wires",
    "usual_wire_level", "usual_band", "usual_hole", "usual_pattern", "usual_crossing",
    "usual_twists",
)  # fmt: skip
CODED = ("weight_band", "worst_severity")  # those of which they give the codes
DAYS_APART, FREE_LATER = 16, 1 << 20  # as in ends.sql


def outcomes(
    joints: pl.DataFrame,
    facts: pl.DataFrame,
    parameters: Mapping[str, object],
) -> pl.DataFrame:
    """Run the statements of outcomes and times over all stifles in one pass.

    Parameters
    ----------
    joints
        One row per stifle, by number, with every variable of it.
    facts
        Likewise, what its rows say of it.
    parameters
        The parameters of the statements.

    Returns
    -------
    DataFrame
        One row per stifle, in the same order: what `ENDS` and `GIVEN` name.
    """
    asked = joints.select(ASKED).cast({pl.Int64: pl.Int32})  # half as much to read and write
    wide = pl.concat([asked, facts], how="horizontal")
    with open_database({"stifle_facts": wide.with_row_index("stifle_no")}) as connection:
        words = declared_words(*CODED)
        declare_words(connection, words)
        for name in ("outcome_state", "ends"):
            declare(connection, name)
        made = run_chain(connection, STEPS, ("stifle_no", *ENDS, *GIVEN), parameters)
        states = _states(connection)
    made = by_number(with_words(made, words), joints.height)
    return made.select(
        *(part for name, (day, state) in ENDS.items()
          for part in (_day(name).alias(day), _state(name, states).alias(state))),
        *GIVEN,
    )  # fmt: skip


def _states(connection: duckdb.DuckDBPyConnection) -> pl.Enum:
    """Give the states that ``outcome_state.sql`` declares."""
    named = connection.sql("SELECT unnest(enum_range(NULL::outcome_state))").fetchall()
    return pl.Enum([name for (name,) in named])


def _day(end: str) -> pl.Expr:
    return pl.col(end) // DAYS_APART & (FREE_LATER - 1)


def _state(end: str, states: pl.Enum) -> pl.Expr:
    place = pl.col(end).cast(pl.UInt8, wrap_numerical=True) & (DAYS_APART - 1)
    return place.cat.to(states)
