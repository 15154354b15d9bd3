"""Rules across rows: rechecks against complications, complications against revisions."""

import polars as pl

from schemas.rules.events import COOK, IMPLANT_FAMILY, PALPATED, rank
from schemas.rules.joined import made_once, own_columns, select_columns
from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.rule import Frames, Rule

STIFLE = ["clinic_id", "local_stifle"]
ANIMAL = ["clinic_id", "local_animal"]
RELUXATIONS = ("reluxation", "opposite_luxation")


def with_any(frame: pl.DataFrame, other: pl.DataFrame, meets: pl.Expr, *, name: str
             ) -> pl.DataFrame:  # fmt: skip
    """Add whether any row of `other` of the same stifle meets a condition on both rows.

    Columns of `other` stand in the condition under ``other.<name>``.
    """
    if frame.is_empty() or other.is_empty():
        return frame.with_columns(pl.lit(value=False).alias(name))
    asked = dict.fromkeys(meets.meta.root_names())
    theirs = [column for column in asked if column.startswith("other.")]
    own = dict.fromkeys(["row_id", *STIFLE, *(column for column in asked if column not in theirs)])
    beside = other.select(
        *STIFLE, *(pl.col(column.removeprefix("other.")).alias(column) for column in theirs)
    )
    met = (
        frame.select(*own)
        .join(beside, on=STIFLE, how="inner")
        .filter(meets)
        .select("row_id")
        .unique()
        .with_columns(pl.lit(value=True).alias(name))
    )  # fmt: skip
    joined = frame.join(met, on="row_id", how="left", maintain_order="left")
    return joined.with_columns(pl.col(name).fill_null(value=False))


def same_direction() -> pl.Expr:
    """Be true unless the patella luxates to the other side than before surgery."""
    before, now = (
        pl.col(name).cast(pl.String) for name in ("stifles.luxation_direction", "patella_direction")
    )
    opposite = before.is_in(["medial", "lateral"]) & now.is_in(["medial", "lateral"])
    return ~(opposite & (before != now)).fill_null(value=False)


def unexplained_luxation(frames: Frames) -> pl.DataFrame:
    """Give the first luxated recheck of a stifle without a complication of its kind by then."""
    return made_once(frames, "unexplained luxation", _luxated_without_event)


def _luxated_without_event(frames: Frames) -> pl.DataFrame:
    stifles = select_columns(frames, "stifles", [*STIFLE, "luxation_direction"])
    luxated = own_columns(frames, "rechecks").filter(
        pl.col("patella_grade") >= 1,
        pl.col("recheck_mode").is_in(PALPATED),
        pl.col("recheck_day") > 0,
    )
    if luxated.is_empty():  # then no stifle need be looked up
        stifles = stifles.clear()
    of_luxated = (
        stifles.join(luxated, on=STIFLE, how="semi", maintain_order="left")
        .unique(STIFLE, keep="first", maintain_order=True)
        .rename({"luxation_direction": "stifles.luxation_direction"})
    )
    seen = (
        luxated.join(of_luxated, on=STIFLE, how="inner", maintain_order="left")
        .with_columns(
            complication_type=pl.when(same_direction())
            .then(pl.lit("reluxation")).otherwise(pl.lit("opposite_luxation"))
        )
    )  # fmt: skip
    known = with_any(
        seen, frames["complications"],
        (pl.col("other.complication_type") == pl.col("complication_type"))
        & (pl.col("other.detected_day") <= pl.col("recheck_day")),
        name="known",
    )  # fmt: skip
    return (
        known.filter(~pl.col("known"))
        .sort("recheck_day", "row_id")
        .unique([*STIFLE, "complication_type"], keep="first", maintain_order=True)
        .sort("row_id")
    )


def _stable_after_reluxation(frames: Frames) -> pl.DataFrame:
    """Give reluxations after which the patella was stable with nothing done in between."""
    events = frames["complications"].filter(
        pl.col("complication_type") == "reluxation",
        pl.col("resolved_day").is_null(),
        (pl.col("treatment") == "closed_reduction").not_().fill_null(value=True),
    )
    if events.is_empty():
        return events
    rechecks = [*STIFLE, "recheck_day", "patella_grade", "recheck_mode"]
    stable = select_columns(frames, "rechecks", rechecks).filter(
        pl.col("patella_grade") == 0, pl.col("recheck_mode").is_in(PALPATED)
    )
    later = with_any(
        events, stable, pl.col("other.recheck_day") > pl.col("detected_day"), name="stable_later"
    )
    operated = with_any(
        later, frames["revisions"], pl.col("other.revision_day") >= pl.col("detected_day"),
        name="operated",
    )  # fmt: skip
    return operated.filter(pl.col("stable_later") & ~pl.col("operated"))


def _revision_without_complication(frames: Frames) -> pl.DataFrame:
    """Give revisions, planned removal apart, without a major event on or before their day."""
    revisions = frames["revisions"].filter(
        pl.col("revision_reason") != "planned_removal", ~pl.col("derived")
    )
    severe = rank(pl.col("other.severity_class")).fill_null(2) >= 2
    known = with_any(
        revisions, frames["complications"],
        severe & (pl.col("other.detected_day") <= pl.col("revision_day")), name="known",
    )  # fmt: skip
    return known.filter(~pl.col("known"))


def _unmatched(reasons: tuple[str, ...], holds: str) -> Rule:
    def broken(frames: Frames) -> pl.DataFrame:
        found = _revision_without_complication(frames)
        return found.filter(pl.col("revision_reason").is_in(reasons))

    return Rule(
        id="R71", action="hold", tables=("revisions", "complications"), broken=broken,
        shows=("revision_reason", "revision_day"),
        says="A revision without a complication that led to it.",
        fix="Send the complication with its day and severity, or correct the reason.",
        why="Severity and action must agree", source=COOK, holds=(holds,),
    )  # fmt: skip


def _surgery_without_revision(frames: Frames) -> pl.DataFrame:
    treated = frames["complications"].filter(pl.col("treatment") == "revision_surgery")
    known = with_any(
        treated, frames["revisions"], pl.col("other.revision_day") >= pl.col("detected_day"),
        name="known",
    )  # fmt: skip
    return known.filter(~pl.col("known"))


def _catastrophe_unexplained(frames: Frames) -> pl.DataFrame:
    """Give catastrophic events without a reason for the word, and the reverse."""
    last = (
        select_columns(frames, "rechecks", ["row_id", *STIFLE, "recheck_day", "function_class"])
        .filter(pl.col("function_class").is_not_null())
        .sort("recheck_day", "row_id")
        .unique(STIFLE, keep="last", maintain_order=True)
    )
    events = with_any(
        frames["complications"], last, pl.col("other.function_class") == "unacceptable",
        name="useless",
    )  # fmt: skip
    ended = pl.col("treatment").is_in(["euthanasia", "amputation"]).fill_null(value=False)
    related = (
        pl.col("animals.death_cause").is_in(["stifle_related", "anaesthesia_related"])
    ).fill_null(value=False)  # fmt: skip
    worst = pl.col("severity_class") == "catastrophic"
    return events.filter((worst & ~ended & ~related & ~pl.col("useless")) | (~worst & ended))


def _removal_without_complication(frames: Frames) -> pl.DataFrame:
    removed = frames["implants"].filter(
        pl.col("implant_removal_reason") != "planned", pl.col("implant_removed_day").is_not_null()
    )
    infection = (pl.col("implant_removal_reason") == "infection") & pl.col(
        "other.complication_type"
    ).is_in(["surgical_site_infection", "septic_arthritis"])
    known = with_any(
        removed, frames["complications"],
        (pl.col("other.complication_type").is_in(IMPLANT_FAMILY) | infection)
        & (pl.col("other.detected_day") <= pl.col("implant_removed_day")),
        name="known",
    )  # fmt: skip
    return removed.filter(~known["known"])


RELUXATION_REASONS = ("reluxation", "opposite_luxation")
IMPLANT_REASONS = ("implant_migration", "implant_breakage", "implant_irritation",
                   "tuberosity_fracture")  # fmt: skip
OTHER_REASONS = ("infection", "ligament_rupture", "cruciate_rupture_later", "other")

ACROSS_RULES = (
    Rule(
        id="R26", action="hold", tables=("complications", "rechecks", "revisions"),
        broken=_stable_after_reluxation, shows=("detected_day", "complication_type"),
        says="After this reluxation the patella was found stable, with nothing done in between.",
        fix="Check the event and the later rechecks; give the revision or the day it resolved.",
        why="One of the two was coded wrongly, or it was revised", source=LOGIC,
        holds=("outcome:reluxation",),
    ),
    Rule(
        id="R27", action="derive", tables=("rechecks", "complications"),
        broken=unexplained_luxation, shows=("patella_grade", "patella_direction"),
        says="The patella was found luxating, but no such complication is recorded; one was added "
        "with this day.",
        fix="Confirm the grade, and give the severity and what was done.",
        why="Clinics record the grade but not the complication, above all for grade 1",
        source=PRACTICE,
    ),
    _unmatched(RELUXATION_REASONS, "outcome:reluxation"),
    _unmatched(IMPLANT_REASONS, "outcome:implant"),
    _unmatched(OTHER_REASONS, "severity_class"),
    Rule(
        id="R72", action="hold", tables=("complications", "revisions"),
        broken=_surgery_without_revision, shows=("treatment", "detected_day"),
        says="Treated by another operation, but no such operation is recorded.",
        fix="Send the revision with its day and reason, or correct the treatment.",
        why="Major by definition", source=COOK, holds=("treatment",),
    ),
    Rule(
        id="R74", action="hold", tables=("complications", "animals", "rechecks"),
        broken=_catastrophe_unexplained, shows=("severity_class", "treatment"),
        says="Catastrophic means euthanasia, amputation, a related death or a useless limb, and "
        "this does not fit.",
        fix="Check the severity, the treatment and the cause of death.",
        why="Definition of catastrophic", source=COOK, holds=("severity_class",),
    ),
    Rule(
        id="R76", action="ask", tables=("implants", "complications"),
        broken=_removal_without_complication,
        shows=("implant_removal_reason", "implant_removed_day"),
        says="An implant was removed for a reason that is a complication, but none is recorded.",
        fix="Send the complication with its day, or correct the reason.",
        why="An implant complication is missing", source=LOGIC,
    ),
)  # fmt: skip
