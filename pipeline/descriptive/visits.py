"""The visits that counted: up to the data lock of the index clinic, in the order of their days."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import polars as pl

from pipeline.descriptive.arms import Exposure, by_clinic
from pipeline.descriptive.completeness import share_of_animals
from shared.estimate import Estimate

IN_PERSON = ("operating_clinic", "other_veterinarian")
OF_STIFLE = ("stifle_id", "animal_id", "clinic_id", "admin_end_day")


def visits_of(rechecks: pl.DataFrame, stifles: pl.DataFrame) -> pl.DataFrame:
    """Give the contacts of `stifles` after surgery and up to the data lock.

    Parameters
    ----------
    rechecks
        The linked table of rechecks.
    stifles
        Rows of the cohort.

    Returns
    -------
    polars.DataFrame
        stifle_id, animal_id and clinic_id of the index operation, day, in_person, palpated,
        unscheduled (null: not recorded).
    """
    inside = pl.col("recheck_day").is_between(1, pl.col("admin_end_day"))
    met = pl.col("recheck_mode").is_in(IN_PERSON).fill_null(value=False)
    joined = rechecks.select(
        "stifle_id", "recheck_day", "recheck_mode", "patella_grade", "unscheduled"
    ).join(stifles.select(OF_STIFLE), on="stifle_id", how="inner")
    return (
        joined.filter(inside | (pl.col("admin_end_day").is_null() & (pl.col("recheck_day") >= 1)))
        .select(
            "stifle_id", "animal_id", "clinic_id", day="recheck_day", in_person=met,
            palpated=met & pl.col("patella_grade").is_not_null(), unscheduled="unscheduled",
        )
        .sort("stifle_id", "day", "in_person", "palpated", "unscheduled")
    )  # fmt: skip


def unscheduled_share(visits: pl.DataFrame, exposures: Iterable[Exposure]) -> Iterator[Estimate]:
    """Give the share of visits that a problem brought about, by clinic and by arm.

    Visits in person only. `n` are those of which it is known, `n_dropped` the others.
    """
    seen = visits.filter("in_person")
    for clinic, rows in by_clinic(seen):
        yield _share(Estimate(analysis="visits", group=clinic, measure=""), rows)
    for exposure in exposures:
        for level, arm in exposure.arms():
            rows = seen.join(arm.select("stifle_id"), on="stifle_id", how="semi")
            base = Estimate(
                analysis=f"visits_{exposure.column}", group="all", level=level, measure="",
                population=exposure.population,
            )  # fmt: skip
            yield _share(base, rows)


def _share(base: Estimate, rows: pl.DataFrame) -> Estimate:
    known = rows.filter(pl.col("unscheduled").is_not_null())
    base = replace(base, term="unscheduled", n_dropped=len(rows) - len(known))
    return share_of_animals(base, known["unscheduled"], known["animal_id"])
