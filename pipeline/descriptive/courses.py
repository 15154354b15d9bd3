"""The course of single stifles, for a picture: a few drawn by the study's seed, not by hand."""

import hashlib

import polars as pl

from pipeline.descriptive.visits import visits_of
from shared.files import as_text

HALF = 20  # stifles with an event in the picture, and as many without
COLUMNS = ("stifle_id", "place", "kind", "what", "day")


def courses(
    stifles: pl.DataFrame, events: pl.DataFrame, rechecks: pl.DataFrame, *, seed: int
) -> pl.DataFrame:
    """Draw 20 included stifles with a dated event after surgery and 20 without; give their marks.

    Returns
    -------
    polars.DataFrame
        One row per mark: stifle_id, place (1 at the top: those with an event first, then by
        length of follow-up), kind (followed, palpated, other contact, or the source of an
        event), what, day. Every stifle has one mark "followed", its last day.
    """
    stifles = stifles.filter(pl.col("left_at").is_null() & (pl.col("last_contact_day") >= 1))
    dated = events.filter(pl.col("day") >= 1, pl.col("event").is_not_null())
    dated = as_text(dated.join(stifles.select("stifle_id"), on="stifle_id", how="semi"))
    eventful = set(dated["stifle_id"].to_list())
    groups: tuple[list[str], list[str]] = ([], [])
    for stifle in sorted(stifles["stifle_id"].to_list(), key=lambda name: _draw(seed, name)):
        groups[stifle not in eventful].append(stifle)
    chosen = [*groups[0][:HALF], *groups[1][:HALF]]
    order = (
        stifles.filter(pl.col("stifle_id").is_in(chosen))
        .with_columns(calm=~pl.col("stifle_id").is_in(sorted(eventful)))
        .sort("calm", "last_contact_day", "stifle_id", descending=[False, True, False])
        .select("stifle_id", place=pl.int_range(1, pl.len() + 1))
    )
    kind = pl.when("palpated").then(pl.lit("palpated")).otherwise(pl.lit("other contact"))
    parts = [
        stifles.select("stifle_id", kind=pl.lit("followed"), what=pl.lit("last contact"),
                       day="last_contact_day"),
        visits_of(rechecks, stifles).select(
            "stifle_id", kind=kind, what=pl.lit("visit"), day="day"
        ),
        dated.select("stifle_id", kind="source", what="event", day="day"),
    ]  # fmt: skip
    marks = pl.concat([part.cast({"day": pl.Int64}) for part in parts]).unique()
    joined = marks.join(order, on="stifle_id", how="inner").select(COLUMNS)
    return joined.sort("place", "day", "kind", "what")


def _draw(seed: int, stifle_id: str) -> str:
    return hashlib.sha256(f"{seed}:{stifle_id}".encode()).hexdigest()
