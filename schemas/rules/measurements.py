"""Rules on images and their readings: one stifle an image, raters who agree, usual values."""

from collections.abc import Mapping

import polars as pl

from schemas.rules.joined import select_columns
from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.rule import Frames, Rule

STIFLE = ["clinic_id", "local_stifle"]
IMAGE = ["clinic_id", "image_id"]
READING = [*IMAGE, "measure", "rater_id", "read_no"]
MEASURE = pl.col("measure").cast(pl.String)
IN_MM, IN_DEGREES = MEASURE.str.ends_with("_mm"), MEASURE.str.ends_with("_deg")
# The usual range of each measure, as the codebook's words for `value` and, in mm, for the
# procedure of the same name give it (a test compares them).
USUAL: Mapping[str, tuple[float, float]] = {
    "osteotomy_depth_mm": (2, 15), "tibial_depth_mm": (7, 50), "osteotomy_length_mm": (8, 60),
    "distal_bridge_mm": (1, 8), "transposition_mm": (1, 7), "ligament_patella_ratio": (1.4, 2.3),
    "a_patella_ratio": (1.7, 2.4), "aldfa_deg": (90, 115), "femoral_varus_deg": (-2, 25),
    "q_angle_deg": (0, 45), "tibial_plateau_angle_deg": (15, 35),
}  # fmt: skip
APART_SHARE, APART_RATIO, APART_DEGREES = 0.2, 0.2, 5
SURGEON_APART = 0.15
READ_AFTER_HEALING = "recheck"


def _place_of_image(frames: Frames) -> pl.DataFrame:
    """Give readings that stand twice, and those of an image that is of two stifles."""
    rows = frames["measurements"].filter(
        pl.all_horizontal(pl.col(name).is_not_null() for name in READING)
    )
    twice = pl.struct(READING).is_duplicated()
    shared = pl.col("local_stifle").n_unique().over(IMAGE) > 1
    return rows.filter(twice | shared)


def _raters_apart(frames: Frames) -> pl.DataFrame:
    """Give one reading of each measure on which the raters of an image lie far apart."""
    measure = [*IMAGE, "local_stifle", "measure"]
    rows = frames["measurements"].filter(pl.col("value").is_not_null())
    each = rows.group_by(*measure, "rater_id").agg(pl.col("value").mean())
    spread = each.group_by(measure).agg(
        raters=pl.len(), lowest=pl.col("value").min(), highest=pl.col("value").max(),
        middle=pl.col("value").mean(),
    )  # fmt: skip
    allowed = (
        pl.when(IN_MM).then(APART_SHARE * pl.col("middle"))
        .when(IN_DEGREES).then(APART_DEGREES).otherwise(APART_RATIO)
    )  # fmt: skip
    apart = spread.filter(pl.col("raters") > 1, pl.col("highest") - pl.col("lowest") > allowed)
    last = rows.unique(measure, keep="last", maintain_order=True)
    return last.join(apart, on=measure, how="inner", maintain_order="left").with_columns(
        detail=pl.concat_str(
            pl.lit("The raters give "), pl.col("lowest").round(2), pl.lit(" to "),
            pl.col("highest").round(2), pl.lit("."),
        )
    )  # fmt: skip


def _unlike_surgeon(name: str, frames: Frames) -> pl.DataFrame:
    """Give operations whose measure is not what the raters read of the images."""
    read = frames["measurements"].filter(
        pl.col("measure") == name, pl.col("value") > 0,
        pl.col("calibrated").fill_null(value=True), pl.col("time_point") != READ_AFTER_HEALING,
    )  # fmt: skip
    means = read.group_by(STIFLE).agg(read=pl.col("value").mean())
    rows = select_columns(frames, "procedures", ["row_id", *STIFLE, name]).join(
        means, on=STIFLE, how="inner", maintain_order="left"
    )
    far = (pl.col(name) / pl.col("read") - 1).abs() > SURGEON_APART
    return rows.filter(far).with_columns(
        detail=pl.concat_str(
            pl.lit("Read on the images: "), pl.col("read").round(1), pl.lit(" mm.")
        )
    )


def _outside_usual() -> pl.Expr:
    low, high = (
        MEASURE.replace_strict(
            {name: float(pair[end]) for name, pair in USUAL.items()},
            default=None, return_dtype=pl.Float64,
        )
        for end in (0, 1)
    )  # fmt: skip
    return ((pl.col("value") < low) | (pl.col("value") > high)).fill_null(value=False)


def _surgeon_and_raters(name: str) -> Rule:
    return Rule(
        id="R84", action="ask", tables=("procedures", "measurements"),
        broken=lambda frames: _unlike_surgeon(name, frames), shows=(name,),
        says="This measure is not what was read on the images of the knee.",
        fix="Say which is right, and whether this one was measured or estimated.",
        why="The surgeon's estimate is not a radiographic measure", source=PRACTICE,
    )  # fmt: skip


MEASUREMENT_RULES = (
    Rule(
        id="R81", action="hold", tables=("measurements",), broken=_place_of_image,
        shows=("image_id", "measure", "rater_id", "read_no"),
        says="This reading stands twice, or its image is said to be of two knees.",
        fix="Check the image, the rater and the number of the reading.",
        why="Needed for agreement statistics", source=LOGIC, holds=("value",),
    ),
    Rule(
        id="R82", action="ask", tables=("measurements",), broken=_raters_apart,
        shows=("value", "measure", "rater_id"),
        says="Two raters of this image lie far apart.",
        fix="Check the landmarks and the scale, and send a third reading.",
        why="Landmark or calibration error; third reading wanted", source=PRACTICE,
    ),
    Rule(
        id="R83", action="ask", tables=("measurements",), broken=_outside_usual(),
        shows=("value", "measure"), says="This value is unusual for its measure.",
        fix='Check the value and its unit; if it is right, answer "correct as it is".',
        why="Unusual values are often another measure, another unit or an image out of scale",
        source=PRACTICE,
    ),
    Rule(
        id="R83", action="ask", tables=("measurements",), broken=IN_MM & ~pl.col("calibrated"),
        shows=("calibrated", "measure", "value"),
        says="A length in mm was read on an image without a scale.",
        fix="Say whether the image was calibrated.",
        why="Only ratios and angles survive without calibration", source=PRACTICE,
    ),
    *(_surgeon_and_raters(name) for name in ("osteotomy_depth_mm", "tibial_depth_mm")),
)  # fmt: skip
