"""The first and last days of what the complications and revisions of a stifle say of it."""

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl

from pipeline.by_number import greatest, least

SEVERITY = pl.Enum(["minor", "major_medical", "major_surgical", "catastrophic"])
KIND, TREATMENT = pl.col("complication_type"), pl.col("treatment")
CLASS, REASON = pl.col("severity_class"), pl.col("revision_reason")
INFECTION = KIND.is_in(["surgical_site_infection", "septic_arthritis"])
# Blank where the depth is not known; an infection of the joint is deep.
DEEP = (
    pl.when(pl.col("ssi_depth").is_not_null()).then(pl.col("ssi_depth") != "superficial")
    .when(KIND == "septic_arthritis").then(pl.lit(value=True))
)  # fmt: skip
# Of complications after day 0 that are not those of the operation itself: the first day on which
# there was one of a kind.
COMPLICATIONS: Mapping[str, pl.Expr] = {
    "major_day": CLASS.is_in(["major_medical", "major_surgical", "catastrophic"]),
    "operated_day": (CLASS == "major_surgical") | ((CLASS == "catastrophic")
        & TREATMENT.is_in(["implant_removal", "revision_surgery", "amputation"])),
    "infection_day": INFECTION,
    "deep_infection_day": INFECTION & DEEP,
    "undefined_infection_day": INFECTION & DEEP.is_null(),
    "tuberosity_coded_day": KIND.is_in(["tuberosity_fracture", "tuberosity_displacement"]),
    "hardware_coded_day": KIND.is_in(
        ["kwire_migration", "kwire_breakage", "wire_breakage", "wire_loosening"]),
    "plate_coded_day": KIND == "screw_or_plate_failure",
    "irritation_coded_day": KIND == "implant_irritation",
    "removal_coded_day": (KIND == "other") & (TREATMENT == "implant_removal"),
    "reoperated_day": TREATMENT.is_in(["implant_removal", "revision_surgery"]),
}  # fmt: skip
# The same of revisions, on whatever day.
REVISIONS: Mapping[str, pl.Expr] = {
    "reluxation_revision_day": REASON == "reluxation",
    "replaced_day": REASON.is_in(["reluxation", "opposite_luxation"]),
    "planned_revision_day": REASON == "planned_removal",
}
# And of those after day 0.
LATER_REVISIONS: Mapping[str, pl.Expr] = {
    "unplanned_revision_day": REASON != "planned_removal",
    "hardware_revision_day": REASON.is_in(["implant_migration", "implant_breakage"]),
    "irritation_revision_day": REASON == "implant_irritation",
    "tuberosity_revision_day": REASON == "tuberosity_fracture",
}
# Taken out for these reasons after recorded union, implants leave the construct as it is.
NO_MATTER_AFTER_UNION = ("implant_migration", "implant_breakage", "infection")


def complication_facts(complications: pl.DataFrame, n_stifles: int) -> pl.DataFrame:
    """Give one row per stifle: the days of `COMPLICATIONS`, and how many there were.

    Returns
    -------
    DataFrame
        The first days; last_complication_day, amputated_day; n_after and worst_after (1 minor to
        4 catastrophic) of the complications after surgery, on whatever day.
    """
    number, day = complications["stifle_no"], complications["detected_day"]
    after = ~complications["intraoperative"].fill_null(value=False)
    counted = complications.filter(after & (day >= 1).fill_null(value=True))
    worst = counted["severity_class"].cast(SEVERITY).to_physical().cast(pl.Int64) + 1
    later = counted.rename({"detected_day": "day"}).drop_nulls("day")
    amputated = complications.select(TREATMENT == "amputation").to_series()
    counts = np.bincount(counted["stifle_no"].to_numpy(), minlength=n_stifles)
    return pl.DataFrame({
        "last_complication_day": greatest(number, day, n_stifles),
        "amputated_day": least(number.filter(amputated), day.filter(amputated), n_stifles),
        "n_after": counts.astype(np.int32),
        "worst_after": greatest(counted["stifle_no"], worst, n_stifles),
        **_first_days(later, COMPLICATIONS, n_stifles),
    })  # fmt: skip


def revision_facts(
    revisions: pl.DataFrame, union_day: pl.Series, *, changes_construct: Sequence[str]
) -> pl.DataFrame:
    """Give one row per stifle: the days of `REVISIONS` and `LATER_REVISIONS`.

    A revision ends the time at risk of reluxation if its reason changes the construct; taking out
    migrated, broken or infected implants after recorded union does not.

    Parameters
    ----------
    revisions
        The revisions seen, by number.
    union_day
        The first day on which union was recorded, of each stifle.
    changes_construct
        The reasons that change the construct.

    Returns
    -------
    DataFrame
        The first days; last_revision_day, construct_day, other_construct_day (the same without
        revisions for opposite luxation).
    """
    rows = revisions.rename({"revision_day": "day"})
    n_stifles = len(union_day)
    united = (union_day.gather(rows["stifle_no"]) <= rows["day"]).fill_null(value=False)
    changes = REASON.is_in(list(changes_construct)) & ~(
        REASON.is_in(NO_MATTER_AFTER_UNION) & pl.lit(united)
    )
    kinds = {
        "construct_day": changes,
        "other_construct_day": changes & (REASON != "opposite_luxation"),
        **REVISIONS,
    }
    return pl.DataFrame({
        "last_revision_day": greatest(rows["stifle_no"], rows["day"], n_stifles),
        **_first_days(rows, kinds, n_stifles),
        **_first_days(rows.filter(pl.col("day") >= 1), LATER_REVISIONS, n_stifles),
    })  # fmt: skip


def _first_days(
    rows: pl.DataFrame, kinds: Mapping[str, pl.Expr], n_stifles: int
) -> dict[str, pl.Series]:
    """Give, for each kind of rows, the first day on which a stifle had one."""
    number, day = rows["stifle_no"], rows["day"]
    marks = rows.select(**kinds)
    return {name: least(number.filter(marks[name]), day.filter(marks[name]), n_stifles)
            for name in kinds}  # fmt: skip
