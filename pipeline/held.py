"""Held outcomes are unknown, never event-free; and outcomes by a given day."""

from collections.abc import Iterable, Mapping

import polars as pl

from pipeline.by_number import marked

# Which open questions leave an outcome unknown, besides those that the rules name as outcomes.
SHARED = ("outcome:all", "intraoperative")
TARGETS: Mapping[str, tuple[str, ...]] = {
    "relux": (*SHARED, "outcome:reluxation", "detected_by"),
    "implant": (*SHARED, "outcome:implant", "implant_removal_reason"),
    "major": (*SHARED, "severity_class", "treatment", "death_cause", "ssi_depth"),
}
# The outcomes that share a hold.
FAMILIES: Mapping[str, tuple[str, ...]] = {
    "relux": ("relux", "relux_possible", "relux_important", "relux_revised", "opposite"),
    "implant": ("implant", "tuberosity", "hardware", "irritation"),
    "major": ("major_cook", "major_revision"),
}  # fmt: skip
BESIDE: Mapping[str, tuple[str, ...]] = {
    "relux": ("relux_day_all_deaths", "relux_state_all_deaths", "relux_left", "relux_right"),
    "major": ("ssi_30", "ssi_90", "ssi_365"),
}
EVENTS: Mapping[str, str] = {"relux": "reluxation", "implant": "implant_complication"}


def held_stifles(holds: pl.DataFrame, stifle_ids: pl.Series) -> pl.DataFrame:
    """Mark whose outcomes wait for an answer: relux_held, implant_held, major_held.

    Parameters
    ----------
    holds
        One row per thing unknown: stifle_id, target.
    stifle_ids
        The ids of the stifles, in their order; the holds of others count for nothing.
    """
    # Few are held: they are looked for among the ordered ids, not each id among the held.
    asked = holds.select("target", "stifle_id")
    asked = asked.with_columns(place=stifle_ids.search_sorted(asked["stifle_id"]))
    asked = asked.filter(pl.col("place") < len(stifle_ids))
    known = asked.filter(stifle_ids.gather(asked["place"]) == asked["stifle_id"])
    return pl.DataFrame({
        f"{family}_held": marked(known.filter(pl.col("target").is_in(targets))["place"],
                                 len(stifle_ids))
        for family, targets in TARGETS.items()
    })  # fmt: skip


def bounds_of_held(table: pl.DataFrame) -> pl.DataFrame:
    """Add, for each primary outcome, what it is if all held are events and if none is.

    All: the event on the day the outcome now ends, or where nothing is known on the last day
    known. None: free of it until last seen. Stifles that are not held keep what they have.
    """
    last = pl.max_horizontal(pl.coalesce("last_contact_day", pl.lit(1)), pl.lit(1))
    free = pl.lit("censored", states := table.schema["relux_state"])
    made: list[pl.Expr] = []
    for family, seen in (("relux", "stable_day"), ("implant", "implant_free_day")):
        day, state, held = f"{family}_day", f"{family}_state", pl.col(f"{family}_held")
        event = EVENTS[family]
        never = (pl.col("at_risk_implant").fill_null(value=False).not_() if family == "implant"
                 else pl.lit(value=False))  # fmt: skip
        free_day = pl.when(pl.col(state) == event).then(pl.coalesce(seen, day)).otherwise(day)
        made += [
            pl.when(held & ~never).then(pl.coalesce(day, last)).otherwise(day)
            .alias(f"{family}_day_held_event"),
            pl.when(held & ~never).then(pl.lit(event, states)).otherwise(state)
            .alias(f"{family}_state_held_event"),
            pl.when(held).then(free_day).otherwise(day).alias(f"{family}_day_held_free"),
            pl.when(held & (pl.col(state) == event)).then(free).otherwise(state)
            .alias(f"{family}_state_held_free"),
        ]  # fmt: skip
    return table.with_columns(made)


def by_day(table: pl.DataFrame, horizons: Iterable[int], window_days: int) -> pl.DataFrame:
    """Add the binary outcomes by day D: true, false, or null where nobody can know.

    True if found by D; false if seen free of it at or after D less the window, or if a competing
    event came first. Needs relux_day, relux_state, stable_day and the like of the implants.
    """
    made: list[pl.Expr] = []
    for horizon in horizons:
        for family, seen in (("relux", "stable_day"), ("implant", "implant_free_day")):
            day, state = pl.col(f"{family}_day"), pl.col(f"{family}_state")
            found = (state == EVENTS[family]) & (day <= horizon)
            other = (state != EVENTS[family]) & (state != "censored") & (day <= horizon)
            free = state.is_not_null() & (pl.col(seen) >= horizon - window_days)
            made.append(
                pl.when(found).then(pl.lit(value=True))
                .when(other | free).then(pl.lit(value=False))
                .alias(f"{family}_by_{horizon}")
            )  # fmt: skip
    return table.with_columns(made)


def blank_held(table: pl.DataFrame, horizons: Iterable[int]) -> pl.DataFrame:
    """Make the outcomes of held stifles unknown."""
    made: list[pl.Expr] = []
    for family, outcomes in FAMILIES.items():
        names = [f"{name}_{part}" for name in outcomes for part in ("day", "state")]
        names += [f"{family}_by_{day}" for day in horizons] if family in EVENTS else []
        names += BESIDE.get(family, ())
        made += [pl.when(~pl.col(f"{family}_held")).then(pl.col(name)).alias(name)
                 for name in names]  # fmt: skip
    return table.with_columns(made)
