"""Complications in counting form, with all that the cohort knows of each stifle beside them."""

import polars as pl

COMPLICATION, DEATH, AMPUTATION, LEFT = "complication_seen", "death", "amputation", "last_contact"
DIED = ("died", "euthanised")


def recurrent_table(recurrent: pl.DataFrame, cohort: pl.DataFrame) -> pl.DataFrame:
    """Give the table that an analysis with ``table = "recurrent"`` looks at.

    Parameters
    ----------
    recurrent
        One row a stretch (``Cohort.recurrent``).
    cohort
        One row a stifle; stifles that are not in it have no stretch here.

    Returns
    -------
    DataFrame
        The stretches with the columns of their stifle, and `stretch_state`: what ended the
        stretch, complication_seen, death, amputation or last_contact. A complication of the last
        day goes before the death or amputation of that day.
    """
    beside = cohort.drop(name for name in recurrent.columns if name in cohort.columns[1:]
                         and name != "stifle_id")  # fmt: skip
    joined = recurrent.join(beside, on="stifle_id", how="inner", maintain_order="left")
    last = pl.col("stop_day") == pl.col("end_of_followup_day")
    ended = (
        pl.when("complication").then(pl.lit(COMPLICATION))
        .when(last & pl.col("end_status").is_in(DIED)).then(pl.lit(DEATH))
        .when(last & (pl.col("end_status") == "amputated")).then(pl.lit(AMPUTATION))
        .otherwise(pl.lit(LEFT))
    )  # fmt: skip
    return joined.with_columns(stretch_state=ended).sort("stifle_id", "stretch")
