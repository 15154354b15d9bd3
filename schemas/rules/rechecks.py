"""Rules across the contacts of one knee: twice on a day, planned days, long gaps."""

import polars as pl

from schemas.rules.across import STIFLE
from schemas.rules.events import PALPATED
from schemas.rules.joined import own_columns, select_columns
from schemas.rules.places import PRACTICE
from schemas.rules.repeated import repeated
from schemas.rules.rule import Frames, Rule

LONG_GAP_DAYS = 365
# Of real days one in seven is a whole week: nearly all of ten or more is no chance. Not all, as one
# visit out of turn must not hide the plan. Common practice, no source.
STEPS_DAYS, ENOUGH_DAYS, NEARLY_ALL = (30, 7), 10, 0.9


def planned_step() -> pl.Expr:
    """Give the step in days of which nearly all days of a clinic are multiples, null if none."""
    day = pl.col("recheck_day")
    share = {step: (day % step == 0).mean().over("clinic_id") for step in STEPS_DAYS}
    longest, shortest = STEPS_DAYS
    return (
        pl.when(pl.len().over("clinic_id") < ENOUGH_DAYS).then(None)
        .when(share[longest] >= NEARLY_ALL).then(longest)
        .when(share[shortest] >= NEARLY_ALL).then(shortest)
    )  # fmt: skip


def planned_days(frames: Frames) -> pl.DataFrame:
    """Give the rechecks whose days look planned, with the half width of such a day.

    Only days that the clinic counted itself are judged: a date is no plan (``day_kinds``).
    """
    counted = frames["day_kinds"].filter(pl.col("kind") == "counted")
    days = (
        own_columns(frames, "rechecks")
        .filter(pl.col("recheck_day") > 0)
        .join(counted, on="row_id", how="semi", maintain_order="left")
        .with_columns(step=planned_step())
    )
    return days.filter(pl.col("recheck_day") % pl.col("step") == 0).with_columns(
        window_days=(pl.col("step") + 1) // 2,
        detail=pl.concat_str(
            pl.lit("Until answered, each day counts as one within "), (pl.col("step") + 1) // 2,
            pl.lit(" days of it."),
        ),
    )  # fmt: skip


def _twice_a_day(frames: Frames) -> pl.DataFrame:
    """Give a contact on a day that has one before it; days that were planned may be two."""
    planned = frames["day_kinds"].filter(pl.col("kind") == "planned")
    day = [*STIFLE, "recheck_day"]
    rows = repeated(select_columns(frames, "rechecks", ["row_id", *day]), day)
    again = rows.filter(
        pl.all_horizontal(pl.col(day).is_not_null()), ~pl.struct(day).is_first_distinct()
    )
    return again.join(planned, on="row_id", how="anti", maintain_order="left")


def _long_unseen(frames: Frames) -> pl.DataFrame:
    """Give events found over a year after the last day on which they were looked for."""
    rechecks = [*STIFLE, "recheck_day", "recheck_mode", "patella_grade"]
    seen = select_columns(frames, "rechecks", rechecks).filter(
        pl.col("recheck_mode").is_in(PALPATED), pl.col("patella_grade").is_not_null()
    )
    before = (
        frames["complications"].select("row_id", *STIFLE, "detected_day")
        .join(seen.select(*STIFLE, "recheck_day"), on=STIFLE, how="inner")
        .filter(pl.col("recheck_day") < pl.col("detected_day"))
        .group_by("row_id").agg(seen=pl.col("recheck_day").max())
    )  # fmt: skip
    events = frames["complications"].join(before, on="row_id", how="left", maintain_order="left")
    free = pl.coalesce("last_negative_day", "seen", pl.lit(0))
    return events.with_columns(
        detail=pl.concat_str(pl.lit("The last examination before it is on day "), free,
                             pl.lit("."))
    ).filter(pl.col("detected_day") - free > LONG_GAP_DAYS)  # fmt: skip


RECHECK_RULES = (
    Rule(
        id="R21", action="ask", tables=("rechecks",), broken=_twice_a_day,
        shows=("recheck_day", "recheck_mode", "patella_grade"),
        says="This knee has another contact on the same day, and the two differ.",
        fix="Say whether it was one visit entered twice, and which entry is right.",
        why="Double entry of one visit", source=PRACTICE,
    ),
    Rule(
        id="R22", action="ask", tables=("rechecks",), broken=planned_days, once="clinic",
        shows=("recheck_day",),
        says="Nearly all rechecks lie on whole weeks or months, so the days look planned, not "
        "measured.",
        fix='Send the dates of the rechecks; if the days are the real ones, answer "correct as it '
        'is".',
        why="'6 weeks' was planned, not measured; the interval bounds must be widened",
        source=PRACTICE,
    ),
    Rule(
        id="R25", action="ask", tables=("complications", "rechecks"), broken=_long_unseen,
        shows=("detected_day", "complication_type"),
        says="It was found more than a year after the knee was last examined.",
        fix="Send any examination in between, or the last day on which it was not there.",
        why="The interval carries almost no information on timing", source=PRACTICE,
    ),
)  # fmt: skip
