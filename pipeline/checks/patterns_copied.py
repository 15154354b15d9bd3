"""Rechecks that repeat the findings of the visit before, where healing would change them."""

import operator
from functools import reduce

import polars as pl

from pipeline.checks.patterns_shape import apart_from_others
from schemas.rules.events import PALPATED
from schemas.rules.rule import Frames

STIFLE = ["clinic_id", "local_stifle"]
# What a knee that heals leaves behind, and what says that all is well.
NORMAL: dict[str, str | int] = {
    "lameness_score": 0, "patella_grade": 0, "function_class": "full", "stifle_pain": "none",
    "osteotomy_healing": "complete", "implant_position": "unchanged",
}  # fmt: skip
HERE, ELSEWHERE = 0.8, 0.6


def copied_forward(tables: Frames) -> pl.DataFrame:
    """Give the clinics whose visits repeat findings that were not normal."""
    visits = tables["rechecks"].filter(pl.col("recheck_mode").is_in(PALPATED)).sort(
        *STIFLE, "recheck_day", "row_id"
    )  # fmt: skip
    before = [pl.col(name).shift(1).over(STIFLE).alias(f"before:{name}") for name in NORMAL]
    pairs = visits.select(*STIFLE, *NORMAL, *before)
    unwell = reduce(
        operator.or_,
        ((pl.col(f"before:{name}") != normal).fill_null(value=False)
         for name, normal in NORMAL.items()),
    )  # fmt: skip
    same = pl.all_horizontal(pl.col(name).eq_missing(pl.col(f"before:{name}")) for name in NORMAL)
    # Two findings or more: that one score alone is the same is no copy.
    told = pl.sum_horizontal(pl.col(f"before:{name}").is_not_null() for name in NORMAL)
    counts = (
        pairs.filter(unwell, told >= 2)
        .group_by("clinic_id")
        .agg(n=same.sum(), all=pl.len())
        .sort("clinic_id")
    )
    found = counts.filter(pl.Series(
        [apart_from_others(counts, place, here=HERE, elsewhere=ELSEWHERE)
         for place in range(counts.height)], dtype=pl.Boolean,
    ))  # fmt: skip
    return found.select(
        "clinic_id", table=pl.lit("rechecks"), variable=pl.lit("lameness_score"),
        detail=pl.format("{} of {} next visits repeat the visit before.", "n", "all"),
    )  # fmt: skip
