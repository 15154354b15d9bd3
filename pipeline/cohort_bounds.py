"""The days between which an outcome happened: a second look, given the day on which it ended."""

import polars as pl

from pipeline.by_number import greatest, least
from pipeline.cohort_rows import Seen

CENSORED = "censored"


def bounds(table: pl.DataFrame, seen: Seen, findings: pl.DataFrame) -> pl.DataFrame:
    """Give those of reluxation, and implant_free_day; a row per stifle, as below."""
    free = implant_bounds(table, seen).alias("implant_free_day")
    return reluxation_bounds(table, seen, findings).with_columns(free)


def reluxation_bounds(table: pl.DataFrame, seen: Seen, findings: pl.DataFrame) -> pl.DataFrame:
    """Give the interval in which the patella reluxated, and the last palpation that found it in.

    Found: after the last palpation without reluxation (or the last day the clinic looked and found
    none, if later; 0 if never), up to the day found. Not found: after the last palpation; no right
    end. A planned day ("6 weeks") stands for all days of its window: the left end takes its first,
    not before 0, the right end its last, or the end of an earlier-ending finding.

    Parameters
    ----------
    table
        One row per stifle, by number: relux_day, relux_state, last_adequate_day,
        surely_adequate_day.
    seen
        Its `visits` are looked at.
    findings
        The table `reluxation_findings` of SQL.

    Returns
    -------
    DataFrame
        stable_day, relux_left, relux_right; blank where a stifle is not at risk.
    """
    n_stifles = table.height
    state, found_day = table["relux_state"], table["relux_day"]
    adequate = seen.visits.select("stifle_no", "day", "window_days").filter(seen.visits["adequate"])
    before = _before(adequate, _last_free(table, event="reluxation", family="relux"))
    number, day = before["stifle_no"], before["day"]
    own = findings.filter("by_veterinarian")
    number_found = own["stifle_no"]
    of_day = own.filter(
        (own["day"] == found_day.gather(number_found))
        & (own["last_negative_day"] < own["day"])
        & (state.gather(number_found) == "reluxation")
    )
    known = table.select("relux_state", "last_adequate_day", "surely_adequate_day").with_columns(
        last=greatest(number, day, n_stifles),
        surely=greatest(number, day - before["window_days"], n_stifles),
        negative=greatest(of_day["stifle_no"], of_day["last_negative_day"], n_stifles),
        found=least(number_found, own["day"] + own["window_days"], n_stifles),
    )
    free = pl.col("relux_state") == CENSORED
    at_risk = pl.col("relux_state").is_not_null()
    surely = pl.when(free).then("surely_adequate_day").otherwise("surely")
    return known.select(
        stable_day=pl.when(free).then("last_adequate_day").otherwise("last"),
        relux_left=pl.when(at_risk).then(pl.max_horizontal(surely, "negative", pl.lit(0))),
        relux_right=pl.when(pl.col("relux_state") == "reluxation").then("found"),
    )


def implant_bounds(table: pl.DataFrame, seen: Seen) -> pl.Series:
    """Give the last day on which a stifle was known free of an implant complication.

    Without an event that is the last contact; else the last day before it on which anything was
    known. Blank where a stifle is not at risk.

    Parameters
    ----------
    table
        One row per stifle, by number: implant_day, implant_state, last_contact_day,
        last_known_day.
    seen
        All of its tables are looked at.
    """
    limit = _last_free(table, event="implant_complication", family="implant")
    days = (
        (seen.visits, "day"), (seen.complications, "detected_day"),
        (seen.revisions, "revision_day"), (seen.implants, "implant_removed_day"),
    )  # fmt: skip
    known = pl.concat([
        _before(rows.select(pl.col("stifle_no").cast(pl.Int64), pl.col(name).alias("day")), limit)
        for rows, name in days
    ], how="vertical_relaxed")  # fmt: skip
    last_known = table["last_known_day"]
    free_day = pl.max_horizontal(
        greatest(known["stifle_no"], known["day"], table.height),
        pl.when(last_known <= limit).then(last_known),
    )
    return table.select(
        implant_free_day=pl.when(pl.col("implant_state") == CENSORED)
        .then("last_contact_day")
        .otherwise(free_day)
    ).to_series()


def _last_free(table: pl.DataFrame, *, event: str, family: str) -> pl.Series:
    """Give the last day before something ended a stifle's time at risk; blank if nothing did.

    A day that ended it without the event counts as before.
    """
    state, day = pl.col(f"{family}_state"), pl.col(f"{family}_day").cast(pl.Int32)
    limit = pl.when(state != CENSORED).then(day - (state == event).cast(pl.Int32))
    return table.select(limit.alias("last_free_day")).to_series().rechunk()


def _before(rows: pl.DataFrame, limit: pl.Series) -> pl.DataFrame:
    """Keep the rows up to the limit of their stifle; none where it has none."""
    # Most stifles have none: their rows go first.
    near = rows.filter(limit.is_not_null().gather(rows["stifle_no"]))
    return near.filter(near["day"] <= limit.gather(near["stifle_no"]))
