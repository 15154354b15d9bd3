"""Rules on a whole export: the order of day and month, grades that were never looked for."""

import polars as pl

from schemas.rules.across import with_any
from schemas.rules.events import LEAST_SEVERITY
from schemas.rules.joined import select_columns
from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.rule import Frames, Rule

DATES = {"stifles": "surgery_date", "rechecks": "recheck_day", "complications": "detected_day",
         "revisions": "revision_day"}  # fmt: skip
FILE = ["clinic_id", "file", "sheet"]
ENOUGH_DATES = 20
MANY_STIFLES, FIRST_ROWS = 30, 1_000
MIXED_FROM, MIXED_SHARE = 3, 0.05  # fewer are single typing errors, asked one by one


def files_in_question(counts: pl.DataFrame) -> pl.DataFrame:
    """Judge the order of day and month of each file by its dates of two numbers and a year.

    Parameters
    ----------
    counts
        Columns clinic_id, file, sheet, the number of `dates`, and of those that can be in one
        order alone, `day_first` and `month_first`.

    Returns
    -------
    pl.DataFrame
        The files whose order is `mixed` or `doubtful`.
    """
    fewer = pl.min_horizontal("day_first", "month_first")
    proven = pl.col("day_first") + pl.col("month_first")
    return counts.select(
        *FILE,
        mixed=(fewer >= MIXED_FROM) & (fewer >= MIXED_SHARE * proven),
        doubtful=(fewer > 0) | ((pl.col("dates") >= ENOUGH_DATES) & (proven == 0)),
    ).filter(pl.col("mixed") | pl.col("doubtful"))


def _mixed(table: str, frames: Frames) -> pl.DataFrame:
    dates = frames["date_texts"].filter(pl.col("table") == table)
    return dates.filter(pl.col("mixed") & pl.col("ambiguous"))


def _doubtful(frames: Frames) -> pl.DataFrame:
    dates = frames["date_texts"].filter(pl.col("table") == "stifles")
    return dates.filter(pl.col("doubtful") & ~pl.col("mixed"))


def _never_luxated(frames: Frames) -> pl.DataFrame:
    """Give rechecks of clinics with over 30 stifles in which every grade is 0 and none is blank.

    The first rows of a clinic mostly tell how many stifles it has.
    """
    grade = pl.col("patella_grade")
    rows = select_columns(
        frames, "rechecks", ["row_id", "clinic_id", "local_stifle", "patella_grade"]
    )
    clinics = rows.group_by("clinic_id").agg(
        stable=(grade.is_not_null() & (grade == 0)).all(),
        n=pl.col("local_stifle").head(FIRST_ROWS).n_unique(),
    )
    stable = clinics.filter("stable")
    few = rows.join(stable.filter(pl.col("n") <= MANY_STIFLES), on="clinic_id", how="semi")
    counted = few.group_by("clinic_id").agg(n=pl.col("local_stifle").n_unique())
    named = pl.concat([stable.select("clinic_id", "n"), counted]).filter(
        pl.col("n") > MANY_STIFLES
    )["clinic_id"]  # fmt: skip
    every = named.len() == clinics.height
    return rows if every else rows.filter(pl.col("clinic_id").is_in(named.implode()))


def _no_small_events(frames: Frames) -> pl.DataFrame:
    """Give stifles of clinics with 30 or more of them and no event, or surgical ones alone.

    What was done tells of an event whose severity is not known.
    """
    events = frames["complications"]
    severity, treatment = (
        pl.col(f"other.{name}").cast(pl.String) for name in ("severity_class", "treatment")
    )
    by_treatment = treatment.replace_strict(LEAST_SEVERITY, default=None, return_dtype=pl.String)
    known = with_any(
        select_columns(frames, "stifles", ["row_id", "clinic_id", "local_stifle"]),
        events,
        # An event of which neither is known is no sign that small ones are left out.
        pl.coalesce(severity, by_treatment).ne_missing("major_surgical"),
        name="small",
    )  # fmt: skip
    return known.filter(
        (pl.len().over("clinic_id") >= 30) & ~pl.col("small").any().over("clinic_id")
    )


def _lateral_as_often(frames: Frames) -> pl.DataFrame:
    """Give dogs' stifles of clinics with 30 or more, as many luxated laterally as medially."""
    rows = ["row_id", "clinic_id", "luxation_direction", "animals.species"]
    dogs = select_columns(frames, "stifles", rows).filter(pl.col("animals.species") == "dog")
    direction = pl.col("luxation_direction")
    return dogs.filter(
        (pl.len().over("clinic_id") >= 30)
        & ((direction == "lateral").sum() >= (direction == "medial").sum()).over("clinic_id")
    )


EXPORT_RULES = (
    *(
        Rule(
            id="R23", action="hold", tables=(table,), once="file",
            broken=lambda frames, table=table: _mixed(table, frames), shows=(DATES[table],),
            says="In this file some dates can only be day and month, others only month and day; "
            "the rest may be swapped.",
            fix="Say in which order the dates are, and correct those in the other order.",
            why="Dates can be swapped without any impossible value", source=LOGIC,
            holds=("outcome:all",),
        )
        for table in DATES
    ),
    Rule(
        id="R23", action="ask", tables=("stifles",), once="file", broken=_doubtful,
        shows=("surgery_date",),
        says="The order of day and month is not proven in this file.",
        fix="Say in which order the dates are.",
        why="Dates can be swapped without any impossible value", source=LOGIC,
    ),
    Rule(
        id="R29", action="ask", tables=("rechecks",), once="clinic", broken=_never_luxated,
        shows=("patella_grade",),
        says="Every recheck of this clinic has a stable patella, and none is blank.",
        fix="Say whether an empty field was filled with 0 where the knee was not felt.",
        why="Default values hide missing examinations", source=PRACTICE,
    ),
    Rule(
        id="R79", action="ask", tables=("stifles", "complications"), once="clinic",
        broken=_no_small_events, shows=("local_stifle",),
        says="No complication at all is recorded, or only those treated by surgery.",
        fix="Say whether small events were recorded at all.",
        why="Published overall rates run from about 18 to 43 percent",
        source="Stanke et al. 2014 (43%), Fullagar et al. 2017 (24%)",
    ),
    Rule(
        id="R88", action="ask", tables=("stifles", "animals"), once="clinic",
        broken=_lateral_as_often, shows=("luxation_direction",),
        says="In dogs, luxations to the outside are as many as those to the inside.",
        fix="Check whether medial and lateral are swapped in the export.",
        why="Medial luxation is much the more common",
        source="common practice; prevalence in Bosio et al. 2017 (85% medial)",
    ),
)  # fmt: skip
