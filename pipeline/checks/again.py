"""A joint that stands twice: the same operation in two versions, or a later one, a revision."""

from collections.abc import Sequence

import polars as pl

from pipeline.checks.evaluate import Hit
from pipeline.checks.rows import FATE_SCHEMA, take_rows
from schemas.rules.rule import Frames

JOINT = ["clinic_id", "local_animal", "side"]
STIFLE = ["clinic_id", "local_stifle"]
PLACE = ["file", "sheet", "row", "block"]
DAYS = {"rechecks": ("recheck_day",), "implants": ("implant_removed_day",),
        "complications": ("detected_day", "last_negative_day", "resolved_day"),
        "revisions": ("revision_day",), "measurements": ("image_day",)}  # fmt: skip
# What a complication before the operation says about its reason.
REASON_OF = {
    "reluxation": "reluxation", "opposite_luxation": "opposite_luxation",
    "kwire_migration": "implant_migration", "kwire_breakage": "implant_breakage",
    "wire_breakage": "implant_breakage", "screw_or_plate_failure": "implant_breakage",
    "wire_loosening": "implant_migration", "implant_irritation": "implant_irritation",
    "tuberosity_fracture": "tuberosity_fracture", "tuberosity_displacement": "tuberosity_fracture",
    "surgical_site_infection": "infection", "septic_arthritis": "infection",
    "patellar_ligament_rupture": "ligament_rupture",
    "cruciate_rupture_later": "cruciate_rupture_later",
}  # fmt: skip


def fold_again(tables: Frames, hits: Sequence[Hit]
               ) -> tuple[dict[str, pl.DataFrame], pl.DataFrame]:  # fmt: skip
    """Leave one row per joint.

    A second version of the same operation (R02) is stopped; what the two versions disagree on
    is unknown in the first. A later operation (R70) becomes a derived revision of the first,
    and what happened after it goes on counting from the first operation.
    """
    left, fates = dict(tables), [pl.DataFrame(schema=dict(FATE_SCHEMA))]
    for hit in hits:
        rule, table = hit.rule.id, hit.rule.table
        if rule not in {"R70", "R02", "C06"}:
            continue
        again = left[table].join(hit.rows, on="row_id", how="semi", maintain_order="left")
        if rule == "R70":
            left = _count_from_first(left, again)
        gone = {table: again}
        if table == "stifles":
            gone["procedures"] = _described_by(left["procedures"], again)
        for name, rows in gone.items():
            if rule != "R70":
                left[name] = _only_agreed(left[name], rows, JOINT if name == "stifles" else STIFLE)
            left[name], fate = take_rows(
                left[name],
                rows["row_id"],
                table=name,
                rule=rule,
                fate="merged" if rule == "R70" else "stopped",
            )
            fates.append(fate)
    return left, pl.concat(fates)


def _first_of(again: pl.DataFrame, stifles: pl.DataFrame) -> pl.DataFrame:
    """Put beside each later row the code and day of the joint's first operation."""
    first = stifles.sort("surgery_date", "file", "sheet", "row").unique(
        JOINT, keep="first", maintain_order=True
    )
    first = first.select(
        *JOINT, first_stifle="local_stifle", first_date="surgery_date", first_row="row_id"
    )
    return again.join(first, on=JOINT, how="left", maintain_order="left").with_columns(
        days=(pl.col("surgery_date") - pl.col("first_date")).dt.total_days()
    )


def _described_by(procedures: pl.DataFrame, again: pl.DataFrame) -> pl.DataFrame:
    """Give the procedure rows made from the same source rows as these stifle rows."""
    return procedures.join(
        again, on=["clinic_id", *PLACE], how="semi", maintain_order="left", nulls_equal=True
    )


def _only_agreed(frame: pl.DataFrame, again: pl.DataFrame, key: Sequence[str]) -> pl.DataFrame:
    """Empty, in the first of two versions, each value that the second gives otherwise."""
    said = [name for name in frame.columns
            if name not in {"row_id", "derived", *PLACE, *JOINT, "local_stifle", "surgery_date"}
            and not name.startswith("raw:")]  # fmt: skip
    other = again.unique(key, keep="first", maintain_order=True).select(
        *key, pl.lit(value=True).alias("twice"), pl.col(said).name.prefix("other.")
    )
    both = frame.join(other, on=key, how="left", maintain_order="left")
    return both.with_columns(
        pl.when(pl.col("twice") & ~pl.col(name).eq_missing(pl.col(f"other.{name}")))
        .then(None).otherwise(pl.col(name)).alias(name)
        for name in said
    ).select(frame.columns)  # fmt: skip


def _count_from_first(tables: dict[str, pl.DataFrame], again: pl.DataFrame
                      ) -> dict[str, pl.DataFrame]:  # fmt: skip
    """Add a revision for each later operation, and move what carries its own stifle code."""
    later = _first_of(again, tables["stifles"])
    moved = later.filter(pl.col("local_stifle") != pl.col("first_stifle")).select(
        *STIFLE, "first_stifle", "days"
    )
    left = dict(tables)
    for table, days in DAYS.items():
        frame = left[table].join(moved, on=STIFLE, how="left", maintain_order="left")
        left[table] = frame.with_columns(
            *((pl.col(day) + pl.col("days").fill_null(0)).alias(day) for day in days),
            local_stifle=pl.coalesce("first_stifle", "local_stifle"),
        ).select(left[table].columns)
    revisions = _revisions(later, left)
    left["revisions"] = pl.concat([left["revisions"], revisions], how="diagonal")
    return left


def _revisions(later: pl.DataFrame, tables: Frames) -> pl.DataFrame:
    reasons = (
        tables["complications"]
        .with_columns(
            reason=pl.col("complication_type")
            .cast(pl.String)
            .replace_strict(REASON_OF, default=None, return_dtype=pl.String)
        )
        .filter(pl.col("reason").is_not_null())
        .select(*STIFLE, "detected_day", "reason")
    )
    made = later.select(
        "clinic_id", local_stifle="first_stifle", revision_day="days",
        row_id=pl.concat_str("row_id", pl.lit("/revision")), file="file", sheet="sheet", row="row",
        block="block", revision_clinic_id="clinic_id", derived=pl.lit(value=True),
    )  # fmt: skip
    why = (
        made.join(reasons, on=STIFLE, how="inner")
        .filter(pl.col("detected_day") <= pl.col("revision_day"))
        .sort("row_id", "detected_day", "reason", descending=[False, True, False])
        .unique("row_id", keep="first", maintain_order=True)
        .select("row_id", "reason")
    )
    numbered = made.join(why, on="row_id", how="left", maintain_order="left")
    highest = (
        tables["revisions"]
        .group_by(STIFLE, maintain_order=True)
        .agg(highest=pl.col("revision_no").max())
    )
    return numbered.join(highest, on=STIFLE, how="left", maintain_order="left").with_columns(
        revision_reason=pl.col("reason").fill_null("other")
        .cast(tables["revisions"].schema["revision_reason"]),
        revision_no=pl.int_range(1, pl.len() + 1).over(STIFLE, order_by="revision_day")
        + pl.col("highest").fill_null(0),
    ).drop("reason", "highest")  # fmt: skip
