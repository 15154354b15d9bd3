"""Rules on what a surgeon counts: minutes of a session, and the number of the case."""

import polars as pl

from schemas.rules.joined import select_columns
from schemas.rules.places import LOGIC, PRACTICE
from schemas.rules.rule import Frames, Rule

SESSION = ["clinic_id", "stifles.local_animal", "stifles.surgery_date"]


def _one_time_for_both(frames: Frames) -> pl.DataFrame:
    """Give both knees of a session whose minutes are the same."""
    rows = ["row_id", "surgery_minutes", *SESSION, "stifles.side"]
    timed = select_columns(frames, "procedures", rows).filter(
        pl.col("surgery_minutes").is_not_null(),
        *(pl.col(name).is_not_null() for name in SESSION),
    )
    pairs = timed.group_by(SESSION).agg(
        sides=pl.col("stifles.side").n_unique(), times=pl.col("surgery_minutes").n_unique()
    )
    same = pairs.filter(pl.col("sides") == 2, pl.col("times") == 1)
    return timed.join(same, on=SESSION, how="semi", maintain_order="left")


def _number_goes_back(frames: Frames) -> pl.DataFrame:
    """Give operations numbered below the surgeon's operation before; shifted dates tell nothing."""
    if not select_columns(frames, "procedures", ["surgeon_case_no"]).to_series().count():
        return select_columns(frames, "procedures", ["row_id"]).clear()
    number, day = pl.col("surgeon_case_no"), pl.col("stifles.surgery_date")
    rows = ["row_id", "surgeon_id", "surgeon_case_no", "stifles.surgery_date",
            "clinics.dates_shifted"]  # fmt: skip
    numbered = select_columns(frames, "procedures", rows).filter(
        number.is_not_null(), day.is_not_null(), pl.col("surgeon_id").is_not_null(),
        ~pl.col("clinics.dates_shifted").fill_null(value=False),
    ).sort("surgeon_id", day, number, "row_id")  # fmt: skip
    before = numbered.with_columns(before=number.shift(1).over("surgeon_id"))
    return before.filter(number < pl.col("before")).with_columns(
        detail=pl.concat_str(
            pl.lit("The operation before it has number "), pl.col("before"), pl.lit(".")
        )
    )


SURGEON_RULES = (
    Rule(
        id="R65", action="ask", tables=("procedures", "stifles"), broken=_one_time_for_both,
        shows=("surgery_minutes",),
        says="The time of surgery is the same for both knees of this session.",
        fix="Say whether it is the time for each knee or for both; if for both, give each.",
        why="Probably the total for both joints", source=PRACTICE,
    ),
    Rule(
        id="R66", action="ask", tables=("procedures", "stifles"), broken=_number_goes_back,
        shows=("surgeon_case_no", "stifles.surgery_date"),
        says="The surgeon's case number goes back while the dates go on.",
        fix="Check this number, the one before it, and the days of surgery.",
        why="Numbering error; the learning curve would be wrong", source=LOGIC,
    ),
)  # fmt: skip
