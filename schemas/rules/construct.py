"""Rules within one operation on how its parts fit: wires, fragment, band, hole, block."""

import polars as pl

from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.procedures import COUNT, RATIO, RECESSIONS, any_said
from schemas.rules.rule import Rule

DEPTH, WIRE = pl.col("osteotomy_depth_mm"), pl.col("kwire_diameter_mm")
A_WIRE = WIRE.is_between(0.5, 3.5)  # outside, the unit of the diameter is asked about
A_FRAGMENT = ~(RATIO >= 1).fill_null(value=False)  # else the two depths are asked about
PIECES, TWISTS = pl.col("tb_pieces"), pl.col("tb_twists")
HOLE, KWIRE_PLACE = pl.col("tb_hole_distance_mm"), pl.col("kwire_distance_mm")
IS_RECESSION = pl.col("sulcoplasty_type").is_in(RECESSIONS)
FRAGMENT_ONLY = ("recess_deepened_at", "recess_fit", "fragment_fractured")


def _fragment_said() -> pl.Expr:
    """Be true where a block or wedge is described; "no fracture" describes none."""
    told = any_said(("recess_deepened_at", "recess_fit"))
    return told | pl.col("fragment_fractured").fill_null(value=False)


# Where nothing was deepened, R60 asks about these two in the same words.
ASKED_BY_R60 = (pl.col("sulcoplasty_type") == "none") & any_said(FRAGMENT_ONLY[:2])

CONSTRUCT_RULES = (
    Rule(
        id="R50", action="ask", tables=("procedures",),
        broken=A_WIRE & A_FRAGMENT & ((WIRE > DEPTH / 3) | (COUNT * WIRE > DEPTH / 2)),
        shows=("kwire_diameter_mm", "kwire_count", "osteotomy_depth_mm"),
        says="The K-wires are thick for this fragment: one takes over a third of its depth, or all "
        "together over half.",
        fix="Check the diameter and number of the wires, and the depth of the osteotomy.",
        why="The fragment would be weakened", source=PRACTICE,
    ),
    Rule(
        id="R54", action="ask", tables=("procedures",),
        broken=pl.col("transposition_mm") > pl.col("tibial_depth_mm") / 2,
        shows=("transposition_mm", "tibial_depth_mm"),
        says="The tuberosity was moved by more than half the depth of the tibia.",
        fix="Check both measures and their unit (mm).",
        why="Loss of bone contact is implausible", source=PRACTICE,
    ),
    Rule(
        id="R55", action="ask", tables=("procedures",),
        broken=(pl.col("distal_bridge") == "detached")
        & pl.col("ttt_fixation").is_in(["k_wire", "none"]),
        shows=("ttt_fixation", "distal_bridge"),
        says="The tuberosity was detached at its distal end, but no tension band was placed.",
        fix="Check whether the distal bridge was lost, and the fixation.",
        why="Unusual construct: usually a band is added when the bridge is lost", source=PRACTICE,
    ),
    Rule(
        id="R58", action="ask", tables=("procedures",),
        broken=(TWISTS > 2 * PIECES) | ((PIECES == 2) & (TWISTS == 1)),
        shows=("tb_twists", "tb_pieces"),
        says="The number of knots of the tension band does not fit the number of its wires.",
        fix="Check the number of wire pieces and of twist knots.",
        why="Each piece needs a knot; one piece has one or two", source=PRACTICE,
    ),
    Rule(
        id="R59", action="ask", tables=("procedures",), broken=HOLE < 2,
        shows=("tb_hole_distance_mm",),
        says="The hole of the tension band lies within 2 mm of the end of the osteotomy, or above "
        "it.",
        fix="Check the distance and its sign (away from the osteotomy is positive).",
        why="Risk of splitting into the cut; or a sign error", source=PRACTICE,
    ),
    Rule(
        id="R62", action="ask", tables=("procedures",),
        broken=IS_RECESSION & (
            (pl.col("recess_width_mm") > pl.col("groove_width_pre_mm"))
            | (pl.col("recess_width_mm") < 0.6 * pl.col("patella_width_mm"))
        ),
        shows=("recess_width_mm", "groove_width_pre_mm", "patella_width_mm"),
        says="The block or wedge is wider than the groove, or too narrow for the patella.",
        fix="Check the widths; columns may be swapped.",
        why="Block wider than the trochlea, or too narrow for the patella", source=PRACTICE,
    ),
    Rule(
        id="R64", action="ask", tables=("procedures", "stifles", "animals"),
        broken=(pl.col("femoral_osteotomy") != "none")
        & ((pl.col("animals.species") == "cat") | (pl.col("stifles.weight_kg") < 5)),
        shows=("femoral_osteotomy", "animals.species", "stifles.weight_kg"),
        says="A corrective osteotomy of the femur in a cat or a very small dog.",
        fix="Check the list of procedures.",
        why="Possible but rare; check the free-code list", source=PRACTICE,
    ),
    Rule(
        id="R85", action="ask", tables=("procedures",),
        broken=(HOLE >= 2)
        & ((HOLE - KWIRE_PLACE).abs() > pl.max_horizontal(HOLE, KWIRE_PLACE) / 3),
        shows=("tb_hole_distance_mm", "kwire_distance_mm"),
        says="The hole of the band and the K-wires lie at unlike distances from the end of the "
        "osteotomy.",
        fix="Check both distances.",
        why="The hole is usually placed as far distal to the end of the osteotomy as the wires are "
        "proximal to it", source=PRACTICE,
    ),
    Rule(
        id="R86", action="ask", tables=("procedures",),
        broken=(pl.col("tb_crossing") == "distal_to_tuberosity")
        & (pl.col("tb_pattern") == "figure_of_eight"),
        shows=("tb_crossing", "tb_pattern"),
        says="The limbs of the figure of eight cross below the tuberosity.",
        fix="Check where the wire crosses.",
        why="The crossing usually lies over the tuberosity", source=PRACTICE,
    ),
    Rule(
        id="R87", action="hold", tables=("procedures",),
        broken=IS_RECESSION.not_() & _fragment_said() & ~ASKED_BY_R60,
        shows=("sulcoplasty_type", *FRAGMENT_ONLY),
        says="A block or wedge is described, but the groove was not deepened by one.",
        fix="Say how the groove was deepened.", why="Contradiction", source=LOGIC,
        holds=("sulcoplasty_type", *FRAGMENT_ONLY),
    ),
)  # fmt: skip
