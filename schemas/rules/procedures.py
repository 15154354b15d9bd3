"""Rules within one operation: groove, transposition, K-wires, tension band."""

import operator
from collections.abc import Iterable
from functools import reduce

import polars as pl

from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.rule import Rule

RECESSIONS = ("block_recession", "wedge_recession", "semicylindrical_recession")
KWIRE_FIXATIONS = ("k_wire", "k_wire_tension_band")
TTT_ONLY = (
    "ttt_direction", "transposition_mm", "osteotomy_depth_mm", "osteotomy_length_mm",
    "distal_bridge", "distal_bridge_mm", "ttt_fixation", "kwire_count", "kwire_diameter_mm",
    "kwire_arrangement", "kwire_direction", "kwire_level", "kwire_distance_mm", "kwire_end",
    "tension_band_done",
)  # fmt: skip
BAND_ONLY = (
    "tb_pattern", "tb_wire_diameter_mm", "tb_pieces", "tb_twists", "tb_turns", "tb_crossing",
    "tb_hole_distance_mm", "tb_hole_depth_pct",
)  # fmt: skip
GROOVE_ONLY = (
    "groove_depth_post_mm", "groove_width_post_mm", "recess_width_mm", "recess_deepened_at",
    "recess_fit",
)  # fmt: skip
INCHES = (0.028, 0.035, 0.045, 0.062, 0.078)
DIAMETERS = (("procedures", "kwire_diameter_mm"), ("procedures", "tb_wire_diameter_mm"),
             ("implants", "implant_diameter_mm"))  # fmt: skip
KG = pl.col("stifles.weight_kg")
PLAUSIBLE_KG = KG.is_between(0.8, 100)  # an impossible weight has its own question
KWIRE_MM = ((0, 3, 0.6, 1.1), (3, 8, 0.8, 1.4), (8, 15, 1.0, 1.8), (15, 30, 1.2, 2.5),
            (30, 1000, 1.4, 3.2))  # fmt: skip
BAND_MM = ((0, 5, 0.4, 0.8), (5, 15, 0.5, 1.0), (15, 30, 0.6, 1.25), (30, 1000, 0.8, 1.5))
BAND, TTT, COUNT = pl.col("tension_band_done"), pl.col("ttt_done"), pl.col("kwire_count")
RATIO = pl.col("osteotomy_depth_mm") / pl.col("tibial_depth_mm")


def any_said(names: Iterable[str]) -> pl.Expr:
    """Be true where a field says that something was done: not blank, 0, no or none."""
    blank = {"ttt_fixation": "none", "kwire_count": 0, "tension_band_done": False}
    said = [
        (pl.col(name) != blank[name]) if name in blank else pl.col(name).is_not_null()
        for name in names
    ]
    return reduce(operator.or_, (item.fill_null(value=False) for item in said))


def outside_for_weight(column: str, bands: Iterable[tuple[float, float, float, float]]) -> pl.Expr:
    """Be true where a diameter lies outside the usual range of the animal's weight band."""
    outside = [
        KG.is_between(low, high, closed="left") & pl.col(column).is_between(thin, thick).not_()
        for low, high, thin, thick in bands
    ]
    return PLAUSIBLE_KG & pl.col(column).is_between(0.3, 3.5) & reduce(operator.or_, outside)


def _unit_of_diameter(table: str, name: str) -> Rule:
    looks = pl.col(name).is_in(INCHES) | pl.col(name).is_between(16, 28)
    return Rule(
        id="R49", action="hold", tables=(table,), broken=looks, shows=(name,),
        says="This diameter looks like inches or gauge, not millimetres.",
        fix="Give the diameter in mm, or say in which unit the column is.",
        why="Unit mix", source=LOGIC, holds=(name,),
    )  # fmt: skip


PROCEDURE_RULES = (
    Rule(
        id="R41", action="ask", tables=("procedures", "stifles"),
        broken=(
            (pl.col("stifles.luxation_direction") == "medial")
            & pl.col("ttt_direction").is_in(["medial", "medial_distal"])
        ) | (
            (pl.col("stifles.luxation_direction") == "lateral")
            & pl.col("ttt_direction").is_in(["lateral", "lateral_distal"])
        ),
        shows=("ttt_direction", "stifles.luxation_direction"),
        says="The tuberosity was moved towards the side of the luxation.",
        fix="Check the direction of the luxation and of the transposition.",
        why="The tuberosity is moved away from the side of luxation", source=LOGIC,
    ),
    Rule(
        id="R43", action="ask", tables=("procedures", "stifles"),
        broken=(pl.col("cruciate_procedure") != "none")
        & (pl.col("stifles.cruciate_status") == "intact"),
        shows=("cruciate_procedure", "stifles.cruciate_status"),
        says="A cruciate procedure was done on a ligament recorded as intact.",
        fix="Check the state of the ligament and the procedure.",
        why="Either the status or the procedure is wrong", source=LOGIC,
    ),
    Rule(
        id="R44", action="hold", tables=("procedures",), broken=~TTT & any_said(TTT_ONLY),
        shows=("ttt_done", *TTT_ONLY),
        says="No transposition of the tuberosity, yet details of one are filled in.",
        fix="Say whether the tuberosity was transposed.",
        why="Contradiction, or the flag is wrong", source=LOGIC,
        holds=("ttt_done", *TTT_ONLY, "outcome:implant"),
    ),
    Rule(
        id="R45", action="hold", tables=("procedures",),
        broken=any_said(BAND_ONLY) & ~BAND.fill_null(value=False)
        & ~(~TTT & any_said(TTT_ONLY)).fill_null(value=False),  # else R44 asks
        shows=("tension_band_done", *BAND_ONLY),
        says="Details of a tension band are filled in, but no tension band.",
        fix="Say whether a tension band was placed.",
        why="A tension band without a transposition is another operation", source=LOGIC,
        holds=("tension_band_done", *BAND_ONLY),
    ),
    Rule(
        id="R46", action="hold", tables=("procedures",),
        broken=(pl.col("ttt_fixation") == "k_wire_tension_band") != (BAND & (COUNT >= 1)),
        shows=("ttt_fixation", "tension_band_done", "kwire_count"),
        says="The fixation and the tension band tell different stories.",
        fix="Say whether K-wires alone, or K-wires with a tension band were placed.",
        why="Two fields tell the same fact", source=LOGIC,
        holds=("ttt_fixation", "tension_band_done"),
    ),
    Rule(
        id="R47", action="hold", tables=("procedures",),
        broken=pl.col("ttt_fixation").is_in(KWIRE_FIXATIONS) & (COUNT < 1),
        shows=("kwire_count", "ttt_fixation"), says="Fixation with K-wires, but no K-wire.",
        fix="Give the number of K-wires.", why="Contradiction", source=LOGIC,
        holds=("kwire_count", "ttt_fixation"),
    ),
    Rule(
        id="R47", action="hold", tables=("procedures",),
        broken=(COUNT >= 1) & ((pl.col("kwire_arrangement") == "single") != (COUNT == 1)),
        shows=("kwire_count", "kwire_arrangement"),
        says="The number of K-wires and their arrangement do not fit.",
        fix="Give the number of K-wires.", why="Contradiction", source=LOGIC,
        holds=("kwire_count", "kwire_arrangement"),
    ),
    Rule(
        id="R48", action="ask", tables=("procedures", "stifles"),
        broken=outside_for_weight("kwire_diameter_mm", KWIRE_MM),
        shows=("kwire_diameter_mm", "stifles.weight_kg"),
        says="The K-wire is unusually thin or thick for this weight.",
        fix="Check the diameter and its unit (mm), and the weight.",
        why="Implausible size, or inches or gauge typed as mm", source=PRACTICE,
    ),
    *(_unit_of_diameter(table, name) for table, name in DIAMETERS),
    Rule(
        id="R51", action="hold", tables=("procedures",), broken=RATIO >= 1,
        shows=("osteotomy_depth_mm", "tibial_depth_mm"),
        says="The fragment of the tuberosity is as thick as the whole tibia.",
        fix="Measure both on the mediolateral view again; they may be swapped.",
        why="A fragment cannot be thicker than the bone", source=LOGIC,
        holds=("osteotomy_depth_mm", "tibial_depth_mm"),
    ),
    Rule(
        id="R52", action="ask", tables=("procedures",),
        broken=RATIO.is_between(0.2, 0.5).not_() & (RATIO < 1),
        shows=("osteotomy_depth_mm", "tibial_depth_mm"),
        says="The fragment of the tuberosity is unusually thin or thick for this tibia.",
        fix="Check both measures.",
        why="Too thin: fracture of the tuberosity; too thick: weak proximal tibia, or cut into "
        "the joint", source="common practice (about one third has no source)",
    ),
    Rule(
        id="R56", action="hold", tables=("procedures",),
        broken=((pl.col("distal_bridge_mm") > 0) & (pl.col("distal_bridge") == "detached"))
        | (pl.col("distal_bridge_mm") >= pl.col("tibial_depth_mm")),
        shows=("distal_bridge_mm", "distal_bridge", "tibial_depth_mm"),
        says="The distal bridge has a thickness that it cannot have.",
        fix="Check whether the bridge was intact, and its thickness.",
        why="Contradiction", source=LOGIC, holds=("distal_bridge", "distal_bridge_mm"),
    ),
    Rule(
        id="R57", action="ask", tables=("procedures", "stifles"),
        broken=outside_for_weight("tb_wire_diameter_mm", BAND_MM),
        shows=("tb_wire_diameter_mm", "stifles.weight_kg"),
        says="The wire of the tension band is unusually thin or thick for this weight.",
        fix="Check the diameter and its unit (mm), and the weight.",
        why="Implausible size or gauge typed as mm", source=PRACTICE,
    ),
    Rule(
        id="R60", action="hold", tables=("procedures",),
        broken=(pl.col("sulcoplasty_type") == "none") & any_said(GROOVE_ONLY),
        shows=("sulcoplasty_type", *GROOVE_ONLY),
        says="No deepening of the groove, yet details of one are filled in.",
        fix="Say whether the groove was deepened, and how.", why="Contradiction", source=LOGIC,
        holds=("sulcoplasty_type", *GROOVE_ONLY),
    ),
    Rule(
        id="R61", action="ask", tables=("procedures",),
        broken=pl.col("sulcoplasty_type").is_in(RECESSIONS)
        & (pl.col("groove_depth_post_mm") <= pl.col("groove_depth_pre_mm")),
        shows=("groove_depth_post_mm", "groove_depth_pre_mm"),
        says="The groove is not deeper after the recession than before.",
        fix="Check the two depths; they may be swapped.",
        why="A recession deepens the groove; columns may be swapped", source=LOGIC,
    ),
)  # fmt: skip
