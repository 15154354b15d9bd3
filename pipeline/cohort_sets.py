"""The sets A to D of the cohort: which stifles which question looks at."""

import polars as pl

from pipeline.study import Study

IMPLANT_FIXATION = ("k_wire", "k_wire_tension_band")
NO_CRUCIATE_IMPLANT = ("none", "extracapsular_suture")


def with_sets(table: pl.DataFrame, study: Study) -> pl.DataFrame:
    """Say which stifles belong to the sets A to D."""
    protocol = study.eligibility
    in_a = pl.col("left_at").is_null()
    followed = pl.col("relux_state").is_not_null() & (
        (pl.col("last_adequate_day") >= protocol.set_b_from_day).fill_null(value=False)
        | (pl.col("relux_state") != "censored")
    )
    pinned = pl.col("ttt_done") & pl.col("ttt_fixation").is_in(IMPLANT_FIXATION)
    apart = pl.col("cruciate_procedure").is_in(NO_CRUCIATE_IMPLANT).fill_null(value=True)
    if protocol.cruciate_procedure != "out_of_implant_outcomes":
        apart = pl.lit(value=True)
    return table.with_columns(
        set_a=in_a,
        set_b=in_a & followed,
        set_c=in_a & pl.col("first_joint"),
        set_d=in_a & (pinned & apart).fill_null(value=False),
    )
