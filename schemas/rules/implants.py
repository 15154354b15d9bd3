"""Rules on events of implants that were never placed, and on images."""

import polars as pl

from schemas.rules.across import with_any
from schemas.rules.joined import select_columns
from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.rule import Frames, Rule

COUNT, TTT = pl.col("procedures.kwire_count"), pl.col("procedures.ttt_done")
BAND, FIXATION = pl.col("procedures.tension_band_done"), pl.col("procedures.ttt_fixation")
NO_TTT = ~TTT.fill_null(value=True)
# Event types, the kinds of implant they need, and what says that none was placed; an unknown
# construct says nothing.
NEEDS = (
    (("kwire_migration", "kwire_breakage"), ("k_wire",), (COUNT == 0) | NO_TTT),
    (("wire_breakage", "wire_loosening"), ("tension_band_wire",),
     (~BAND.fill_null(value=True) | NO_TTT)
     & (FIXATION == "wire_only").not_().fill_null(value=True)),
    (("screw_or_plate_failure",), ("screw", "plate", "spacer_pin"),
     (FIXATION.is_in(["screw", "plate", "spacer_pin", "other"]).not_().fill_null(NO_TTT))
     & (pl.col("procedures.femoral_osteotomy") == "none")
     & (pl.col("procedures.cruciate_procedure") == "none").fill_null(value=True)),
)  # fmt: skip


def _never_placed(frames: Frames) -> pl.DataFrame:
    """Give implant events without an implant of that kind at surgery or by an earlier revision."""
    events = with_any(
        frames["complications"], frames["revisions"],
        pl.col("other.revision_day") < pl.col("detected_day"), name="operated",
    )  # fmt: skip
    found: list[pl.DataFrame] = []
    for types, kinds, none_placed in NEEDS:
        listed = with_any(
            events.filter(pl.col("complication_type").is_in(types) & none_placed),
            frames["implants"], pl.col("other.implant_type").is_in(kinds), name="listed",
        )  # fmt: skip
        found.append(listed.filter(~pl.col("operated") & ~pl.col("listed")).select("row_id"))
    return pl.concat(found)


def _same_event_again(frames: Frames) -> pl.DataFrame:
    """Give an event of the same type within 14 days of one before it, with no revision between."""
    day = pl.col("detected_day")
    events = frames["complications"].sort("detected_day", "row_id")
    before = day.shift(1).over("clinic_id", "local_stifle", "complication_type")
    close = events.with_columns(before=before).filter(day - pl.col("before") <= 14)
    known = with_any(
        close, frames["revisions"],
        pl.col("other.revision_day").is_between(pl.col("before"), day), name="operated",
    )  # fmt: skip
    return known.filter(~pl.col("operated")).sort("row_id")


def _fractured_after_union(frames: Frames) -> pl.DataFrame:
    broken = frames["complications"].filter(pl.col("complication_type") == "tuberosity_fracture")
    known = with_any(
        broken, select_columns(
            frames, "rechecks", ["clinic_id", "local_stifle", "osteotomy_healing", "recheck_day"]
        ),
        (pl.col("other.osteotomy_healing") == "complete")
        & (pl.col("other.recheck_day") < pl.col("detected_day")),
        name="healed",
    )  # fmt: skip
    return known.filter(pl.col("healed"))


IMPLANT_RULES = (
    Rule(
        id="R68", action="hold", tables=("complications", "procedures", "implants"),
        broken=_never_placed,
        shows=("complication_type", "procedures.kwire_count", "procedures.tension_band_done"),
        says="An event of an implant of a kind that was not placed.",
        fix="Check the event, and the implants of the operation.",
        why="Cannot migrate if never placed", source=LOGIC, holds=("outcome:implant",),
    ),
    Rule(
        id="R77", action="ask", tables=("complications", "revisions"), broken=_same_event_again,
        shows=("complication_type", "detected_day"),
        says="The same complication was recorded less than 15 days before.",
        fix="Say whether these are two events, or one that was seen again.",
        why="Double counting", source=PRACTICE,
    ),
    Rule(
        id="R78", action="ask", tables=("complications", "rechecks"),
        broken=_fractured_after_union, shows=("detected_day", "complication_type"),
        says="The tuberosity broke after it had healed on earlier radiographs.",
        fix="Check the day of the fracture and the earlier radiographs.",
        why="Late fracture after union is rare", source=PRACTICE,
    ),
    Rule(
        id="R80", action="hold", tables=("measurements",),
        broken=((pl.col("time_point") == "preoperative") & (pl.col("image_day") > 0))
        | ((pl.col("time_point") == "immediate_postoperative")
           & pl.col("image_day").is_between(0, 1).not_())
        | ((pl.col("time_point") == "recheck") & (pl.col("image_day") < 2)),
        shows=("image_day", "time_point"), says="The day of the image does not fit its time point.",
        fix="Check the day of the image.", why="Wrong image", source=LOGIC, holds=("value",),
    ),
)  # fmt: skip
