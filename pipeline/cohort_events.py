"""What happened to each stifle, row by row: the list of events, and complications as stretches."""

import numpy as np
import polars as pl

from pipeline.by_number import greatest
from pipeline.cohort_columns import words_of
from pipeline.cohort_facts import SEVERITY
from pipeline.cohort_rows import Seen
from pipeline.cohort_tables import named_events

SOURCES = pl.Enum(["complication", "end", "palpation", "revision"])
FRAMES = pl.Enum(["perioperative", "short term", "mid term", "long term"])
FRAMES_END = (91, 183, 365)
ENDED = ("died", "euthanised", "amputated")


def event_list(seen: Seen, joints: pl.DataFrame) -> pl.DataFrame:
    """List what happened to a stifle after surgery, for tables of events and their counts.

    Parameters
    ----------
    seen
        Its luxated visits, complications and revisions.
    joints
        One row per stifle, by number: stifle_id, animal_id, clinic_id, end_status,
        end_of_followup_day, last_known_day.

    Returns
    -------
    DataFrame
        stifle_id, animal_id, clinic_id, source (complication, revision, palpation, end), event,
        day, time_frame, severity_class, treatment, intraoperative; in the order of all of them.
    """
    ends = joints.select("end_status", "end_of_followup_day", "last_known_day")
    ended = pl.col("end_status").is_in(ENDED)
    told = [
        ("complication", seen.complications.select(
            "stifle_no", "severity_class", "treatment", event="complication_type",
            day="detected_day", intraoperative=pl.col("intraoperative").fill_null(value=False)
            | (pl.col("detected_day") == 0))),
        ("revision", seen.revisions.select(
            "stifle_no", event="revision_reason", day="revision_day")),
        *(("palpation", seen.luxated.filter(found).select("stifle_no", "day", event=pl.lit(event)))
          for found, event in (("reluxated", "reluxation"), ("opposite", "opposite_luxation"))),
        ("end", ends.with_row_index("stifle_no")
         .filter(ended & (pl.col("end_of_followup_day") == pl.col("last_known_day")))
         .select(pl.col("stifle_no").cast(pl.Int64), event="end_status",
                 day="end_of_followup_day")),
    ]  # fmt: skip
    events = words_of("complication_type", "revision_reason", "end_status")
    listed = pl.concat(
        [rows.with_columns(pl.col("event").cast(events), source=pl.lit(source, SOURCES))
         for source, rows in told],
        how="diagonal",
    )  # fmt: skip
    coded = listed.select(
        "stifle_no", "source", "event", "day", _time_frame(),
        *(pl.col(name).cast(words_of(name)) for name in ("severity_class", "treatment")),
        pl.col("intraoperative").fill_null(value=False),
    )  # fmt: skip
    return named_events(coded[_order(coded)], joints)


def stretches(complications: pl.DataFrame, table: pl.DataFrame, known: pl.Series) -> pl.DataFrame:
    """Cut the time at risk of stifles at each day after day 0 on which they had a complication.

    One row per stretch, from the operation or the complication before to the next complication,
    or to the end of follow-up: death, amputation or the last contact of any kind. Complications
    of one day are one event, counted; a day after the end of follow-up is left out.

    Parameters
    ----------
    complications
        The complications seen, by number.
    table
        One row per stifle, by number: its names and followed_day, the end of follow-up.
    known
        Which stifles have stretches.

    Returns
    -------
    DataFrame
        stifle_id, animal_id, clinic_id, stretch (1, 2, …), start_day (excluded), stop_day
        (included), complication (true if the stretch ends with one), complications_of_day,
        worst_of_day (blank where no class is recorded).
    """
    followed = table["followed_day"].cast(pl.Int64).set(~known, None)
    days = _event_days(complications, followed)
    number, height = days["stifle_no"], table.height
    last_day = greatest(number, days["stop_day"], height).fill_null(0).cast(pl.Int64)
    events = pl.Series(np.bincount(number.to_numpy(), minlength=height))
    rest = pl.DataFrame({
        "stifle_no": pl.int_range(height, eager=True), "stretch": events + 1,
        "start_day": last_day, "stop_day": followed,
    }).filter(followed > last_day)  # fmt: skip
    cut = pl.concat([
        days.with_columns(complication=pl.lit(value=True)),
        rest.with_columns(complication=pl.lit(value=False),
                          complications_of_day=pl.lit(0, pl.Int64),
                          worst_of_day=pl.lit(None, SEVERITY)),
    ], how="diagonal")  # fmt: skip
    most = cut["stretch"].max()
    order = (cut["stifle_no"] * (most if isinstance(most, int) else 1) + cut["stretch"]).arg_sort()
    named = named_events(cut[order], table)
    return named.select(
        "stifle_id", "animal_id", "clinic_id", "stretch", "start_day", "stop_day", "complication",
        "complications_of_day", "worst_of_day",
    )  # fmt: skip


def _event_days(complications: pl.DataFrame, followed: pl.Series) -> pl.DataFrame:
    """Give the days on which a stifle had complications, with their stretches."""
    end = followed.gather(complications["stifle_no"])
    counted = complications.filter(
        ~pl.col("intraoperative").fill_null(value=False)
        & (pl.col("detected_day") >= 1) & (pl.col("detected_day") <= end)
    )  # fmt: skip
    days = counted.group_by("stifle_no", stop_day="detected_day").agg(
        complications_of_day=pl.len().cast(pl.Int64),
        worst_of_day=pl.col("severity_class").cast(SEVERITY).max(),
    ).sort("stifle_no", "stop_day")  # fmt: skip
    first = (pl.col("stifle_no") != pl.col("stifle_no").shift()).fill_null(value=True)
    row = pl.int_range(pl.len())
    return days.with_columns(
        stretch=row - pl.when(first).then(row).forward_fill() + 1,
        start_day=pl.when(first).then(0).otherwise(pl.col("stop_day").shift()),
    )


def _time_frame() -> pl.Expr:
    """Name the time frame of a day."""
    frame = pl.when(pl.col("day") <= FRAMES_END[0]).then(pl.lit(FRAMES.categories[0], FRAMES))
    for last, name in zip(FRAMES_END[1:], FRAMES.categories[1:3], strict=True):
        frame = frame.when(pl.col("day") <= last).then(pl.lit(name, FRAMES))
    later = pl.col("day").is_not_null()
    return frame.when(later).then(pl.lit(FRAMES.categories[3], FRAMES)).alias("time_frame")


def _order(listed: pl.DataFrame) -> pl.Series:
    """Order rows by all of their columns, blanks last, by one number: faster than by seven."""
    key = listed["stifle_no"].cast(pl.Int64)
    top = key.max()
    span = top + 1 if isinstance(top, int) else 1
    for name in ("source", "event", "day", "severity_class", "treatment", "intraoperative"):
        codes = listed[name].to_physical().cast(pl.Int64)
        low, high = codes.min(), codes.max()
        if not isinstance(low, int) or not isinstance(high, int):
            continue
        size = high - low + 2
        key, span = key * size + (codes - low).fill_null(size - 1), span * size
    assert span < 2**63, "too many events to be ordered by one number"
    return key.arg_sort()
