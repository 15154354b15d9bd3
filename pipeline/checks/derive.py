"""Rows and values that the checks add, always marked derived and asked about."""

from collections.abc import Sequence

import polars as pl

from pipeline.checks.evaluate import Hit
from schemas.rules.across import unexplained_luxation
from schemas.rules.events import least_severity, rank
from schemas.rules.rechecks import planned_days
from schemas.rules.rule import Frames

STIFLE = ["clinic_id", "local_stifle"]
CODED = ("complication_type", "detected_by")  # of the complications that are added


def raise_severity(tables: Frames, hits: Sequence[Hit]) -> dict[str, pl.DataFrame]:
    """Raise the severity of events whose treatment implies more (R73)."""
    raised = [hit.rows["row_id"] for hit in hits if hit.rule.id == "R73"]
    if not raised:
        return dict(tables)
    row_ids = pl.concat(raised)
    named = pl.col("row_id").is_in(row_ids.implode())
    higher = named & (rank(pl.col("severity_class")) < rank(least_severity()))
    events = tables["complications"]
    raised_to = least_severity().cast(events.schema["severity_class"])
    events = events.with_columns(
        severity_class=pl.when(higher).then(raised_to).otherwise(pl.col("severity_class")),
        derived=pl.col("derived") | higher.fill_null(value=False),
    )
    return {**tables, "complications": events}


def marks_of_planned(
    marks: pl.DataFrame, hits: Sequence[Hit], day_kinds: pl.DataFrame, rechecks: pl.DataFrame
) -> pl.DataFrame:
    """Mark the days that look planned (R22) as nominal, with half a step as their window."""
    hit = next((item for item in hits if item.rule.id == "R22"), None)
    if hit is None:
        return marks
    days = planned_days({"rechecks": rechecks, "day_kinds": day_kinds})
    named = days.join(hit.rows, on="row_id", how="semi", maintain_order="left")
    return pl.concat([marks, named.select(
        "clinic_id", pl.lit("rechecks").alias("table"), "row_id",
        pl.lit("recheck_day").alias("variable"), pl.lit("nominal").alias("mark"),
        "file", "sheet", "row", pl.lit("").alias("column"), pl.col("window_days").cast(pl.Int64),
    )])  # fmt: skip


def marks_of_added(marks: pl.DataFrame, events: pl.DataFrame) -> pl.DataFrame:
    """Give each added complication the mark of a planned day from the recheck that implies it."""
    nominal = marks.filter(pl.col("mark") == "nominal", pl.col("table") == "rechecks",
                           pl.col("variable") == "recheck_day")  # fmt: skip
    added = [
        nominal.with_columns(
            pl.format("{}/{}", "row_id", pl.lit(kind)).alias("row_id"),
            table=pl.lit("complications"), variable=pl.lit("detected_day"),
        )
        for kind in ("reluxation", "opposite_luxation")
    ]  # fmt: skip
    placed = pl.concat(added).join(events, on="row_id", how="semi", maintain_order="left")
    return pl.concat([marks, placed])


def add_reluxations(tables: Frames, frames: Frames) -> dict[str, pl.DataFrame]:
    """Add the complication that a luxated recheck implies (R27); its severity is not known."""
    events = tables["complications"]
    highest = events.group_by(STIFLE).agg(highest=pl.col("complication_no").max())
    added = (
        unexplained_luxation(frames)
        .join(highest, on=STIFLE, how="left", maintain_order="left")
        .select(
            *STIFLE, "file", "sheet", "row", "block", "complication_type",
            row_id=pl.concat_str("row_id", pl.lit("/"), "complication_type"),
            complication_no=pl.col("highest").fill_null(0)
            + pl.int_range(1, pl.len() + 1).over(STIFLE, order_by="recheck_day"),
            detected_day="recheck_day", intraoperative=pl.lit(value=False),
            detected_by=pl.when(pl.col("unscheduled")).then(pl.lit("unscheduled_visit"))
            .when(~pl.col("unscheduled")).then(pl.lit("scheduled_recheck")),
            derived=pl.lit(value=True),
        )
        .with_columns(pl.col(name).cast(events.schema[name]) for name in CODED)
    )  # fmt: skip
    return {**tables, "complications": pl.concat([events, added], how="diagonal")}
