"""Rules within one contact, complication, revision or implant."""

from collections.abc import Iterable

import polars as pl

from schemas.rules.places import LOGIC
from schemas.rules.rule import Rule

COOK = "Cook et al. 2010 (from memory)"
PALPATED = ("operating_clinic", "other_veterinarian")
IMPLANT_FAMILY = (
    "kwire_migration", "kwire_breakage", "wire_breakage", "wire_loosening",
    "screw_or_plate_failure", "tuberosity_fracture", "tuberosity_displacement",
    "implant_irritation",
)  # fmt: skip
RECESSIONS = ("block_recession", "wedge_recession", "semicylindrical_recession")
DAYS = (("rechecks", "recheck_day"), ("complications", "detected_day"),
        ("revisions", "revision_day"))  # fmt: skip
# Treatment decides the least severity (need for treatment, not how bad it looked).
SEVERITIES = ("minor", "major_medical", "major_surgical", "catastrophic")
LEAST_SEVERITY = {
    "drug": "major_medical", "aspiration": "major_medical", "closed_reduction": "major_medical",
    "implant_removal": "major_surgical", "revision_surgery": "major_surgical",
    "amputation": "catastrophic", "euthanasia": "catastrophic",
}  # fmt: skip


def rank(severity: pl.Expr) -> pl.Expr:
    """Rank severities from 0 (minor) to 3 (catastrophic)."""
    ranks = {name: place for place, name in enumerate(SEVERITIES)}
    return severity.cast(pl.String).replace_strict(ranks, default=None, return_dtype=pl.Int64)


def least_severity() -> pl.Expr:
    """Give the least severity that the treatment of an event implies, null where none."""
    return pl.col("treatment").cast(pl.String).replace_strict(
        LEAST_SEVERITY, default=None, return_dtype=pl.String
    )  # fmt: skip


def _before_surgery(table: str, day: str) -> Rule:
    return Rule(
        id="R14", action="stop", tables=(table, "stifles"), broken=pl.col(day) < 0,
        shows=(day, "stifles.surgery_date"),
        says="This day lies before the operation.",
        fix="Check both days; day and month may be swapped, or it belongs to another operation.",
        why="A negative day means an earlier visit or a swapped day and month", source=LOGIC,
    )  # fmt: skip


def _after_lock(table: str, day: str) -> Rule:
    return Rule(
        id="R15", action="stop", tables=(table, "stifles", "clinics"),
        broken=pl.col(day) > pl.col("stifles.day_of_lock"),
        shows=(day, "stifles.surgery_date", "clinics.data_lock_date"),
        says="This day lies after the day on which the export was drawn.",
        fix="Check the day; day and month may be swapped, or the year mistyped.",
        why="The future cannot be in an export", source=LOGIC,
    )  # fmt: skip


def _after_death(table: str, day: str) -> Rule:
    return Rule(
        id="R17", action="hold", tables=(table, "stifles"),
        broken=pl.col(day) > pl.col("stifles.day_of_death"),
        shows=(day, "stifles.end_of_followup_day", "stifles.end_status"),
        says="This is recorded after the day on which the animal died.",
        fix="Check the day of death and this day, and that it is the same animal.",
        why="Death ends follow-up", source=LOGIC, holds=("outcome:all",),
    )  # fmt: skip


def _by_telephone(broken: pl.Expr, holds: Iterable[str]) -> Rule:
    return Rule(
        id="R28", action="hold", tables=("rechecks",),
        broken=pl.col("recheck_mode").is_in(PALPATED).not_() & broken,
        shows=("patella_grade", "recheck_mode"),
        says="A grade of the patella is recorded without a visit.",
        fix="Say whether a veterinarian felt the knee; if not, the grade stays empty.",
        why="Stability cannot be palpated by telephone", source=LOGIC, holds=tuple(holds),
    )  # fmt: skip


EVENT_RULES = (
    *(_before_surgery(table, day) for table, day in DAYS),
    *(_after_lock(table, day) for table, day in (*DAYS, ("implants", "implant_removed_day"))),
    *(_after_death(table, day) for table, day in DAYS),
    _by_telephone(pl.col("patella_grade") == 0, ("patella_grade",)),
    _by_telephone(pl.col("patella_grade") > 0, ("patella_grade", "outcome:reluxation")),
    Rule(
        id="R24", action="hold", tables=("complications",),
        broken=pl.col("last_negative_day") > pl.col("detected_day"),
        shows=("last_negative_day", "detected_day"),
        says="The last day without the event lies after the day on which it was detected.",
        fix="Check both days.", why="The interval must not be empty", source=LOGIC,
        holds=("last_negative_day",),
    ),
    Rule(
        id="R67", action="hold", tables=("complications", "procedures"),
        broken=pl.col("complication_type").is_in(
            ["tuberosity_fracture", "tuberosity_displacement", "delayed_union"]
        )
        & ~pl.col("procedures.ttt_done")
        & pl.col("procedures.cruciate_procedure")
        .is_in(["tuberosity_advancement", "plateau_levelling_osteotomy"]).not_()
        .fill_null(value=True),
        shows=("complication_type", "procedures.ttt_done"),
        says="An event of the tuberosity without an osteotomy of the tuberosity.",
        fix="Check the event, and whether the tuberosity was transposed.",
        why="The event needs the osteotomy", source=LOGIC, holds=("outcome:implant",),
    ),
    Rule(
        id="R69", action="hold", tables=("complications", "procedures"),
        broken=(pl.col("complication_type") == "trochlear_fragment_displacement")
        & pl.col("procedures.sulcoplasty_type").is_in(RECESSIONS).not_(),
        shows=("complication_type", "procedures.sulcoplasty_type"),
        says="A block or wedge is said to have moved, but none was cut.",
        fix="Check the event, and how the groove was deepened.",
        why="The event needs the fragment", source=LOGIC, holds=("procedures.sulcoplasty_type",),
    ),
    Rule(
        id="R73", action="derive", tables=("complications",),
        broken=rank(pl.col("severity_class")) < rank(least_severity()).clip(upper_bound=2),
        shows=("severity_class", "treatment"),
        says="The severity is lower than the treatment implies; it was raised.",
        fix="Check the treatment and the severity.",
        why="Treated events are not minor", source=COOK,
    ),
    Rule(
        id="R75", action="ask", tables=("complications",),
        broken=((pl.col("ssi_depth") == "superficial") & (pl.col("detected_day") > 30))
        | (pl.col("ssi_depth").is_in(["deep", "organ_space"]) & (pl.col("detected_day") > 365)),
        shows=("detected_day", "ssi_depth"),
        says="The infection was found outside the time in which it counts as one of the surgery.",
        fix="Check the day, and the depth of the infection.",
        why="Outside the surveillance window; kept, but no infection of the primary definition",
        source="CDC windows: 30 days; 1 year with implants, seen in papers of 2019 and 2020",
    ),
)  # fmt: skip
