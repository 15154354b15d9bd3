"""What is not known: values by clinic, rechecks by time frame, held stifles, follow-up."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import polars as pl

from analysis.followup import completeness_index
from analysis.proportions import design_effect, wilson
from analysis.survival import reverse_kaplan_meier
from pipeline.descriptive.arms import Exposure, by_clinic
from pipeline.descriptive.variables import Described, counted_once
from shared.estimate import Estimate

TIME_FRAMES = (91, 183, 365)  # last day of the perioperative, short-term and mid-term frames
FOLLOWED = ("relux", "implant")
HELD = ("relux_held", "implant_held", "major_held")


def missing_values(cohort: pl.DataFrame, variables: Iterable[Described]) -> Iterator[Estimate]:
    """Give the share of missing values by variable (`term`) and clinic (`group`)."""
    base = Estimate(analysis="missing", measure="proportion")
    for clinic, rows in by_clinic(cohort):
        for variable in variables:
            counted = counted_once(rows, variable)
            missing = counted[variable.column].null_count()
            yield replace(
                base, group=clinic, term=variable.column, state=f"{variable.per}s",
                estimate=missing / len(counted), events=missing, n=len(counted),
            )  # fmt: skip


def follow_up(cohort: pl.DataFrame) -> Iterator[Estimate]:
    """Give the median follow-up (reverse Kaplan-Meier) of each outcome, by clinic."""
    for clinic, rows in by_clinic(cohort):
        for outcome in FOLLOWED:
            day, state = f"{outcome}_day", f"{outcome}_state"
            known = rows.filter(pl.col(day).is_not_null() & pl.col(state).is_not_null())
            base = Estimate(
                analysis="follow_up", outcome=outcome, group=clinic, term="days",
                measure="median", n=len(known), n_dropped=len(rows) - len(known),
                method="reverse Kaplan-Meier, every end but censoring censored",
            )  # fmt: skip
            yield _median(base, known, day, state)


def rechecks(cohort: pl.DataFrame, exposures: Iterable[Exposure]) -> Iterator[Estimate]:
    """Give the share with an adequate recheck in each time frame, by clinic and by arm.

    Only stifles operated long enough before the data lock to have had that frame count.
    """
    for clinic, rows in by_clinic(cohort):
        yield from _rechecks(Estimate(analysis="rechecks", group=clinic, measure=""), rows)
    for exposure in exposures:
        for level, arm in exposure.arms():
            for clinic, rows in by_clinic(arm):
                base = Estimate(
                    analysis=f"rechecks_{exposure.column}", group=clinic, term=exposure.column,
                    level=level, population=exposure.population, measure="",
                )  # fmt: skip
                yield from _rechecks(base, rows)


def held(cohort: pl.DataFrame) -> Iterator[Estimate]:
    """Count the stifles whose outcome waits for an answer of the clinic."""
    for clinic, rows in by_clinic(cohort):
        for name in HELD:
            count = int(rows[name].fill_null(value=False).sum())
            yield Estimate(
                analysis="held", group=clinic, outcome=name.removesuffix("_held"), term="stifles",
                measure="count", estimate=float(count), n=len(rows), events=count,
                concerns=("held_rows",) if count else (),
            )  # fmt: skip


def recheck_share(base: Estimate, rows: pl.DataFrame, day: int) -> Estimate:
    """Give the share with an adequate recheck in the time frame that ends on `day`.

    Wilson limits, the number divided by the design effect of animals.
    """
    due = rows.filter((pl.col("admin_end_day") >= day).fill_null(value=True))
    base = replace(base, day=float(day), state="rechecked", n_dropped=len(rows) - len(due))
    return share_of_animals(base, due[f"adequate_{day}"].fill_null(value=False), due["animal_id"])


def share_of_animals(base: Estimate, seen: pl.Series, animals: pl.Series) -> Estimate:
    """Give the share of `seen`, Boolean and known in every row; several rows an animal."""
    base = replace(
        base, measure="proportion", n=len(seen), clusters=animals.n_unique(), confidence=0.95,
        method="Wilson, n over the design effect of animals",
    )  # fmt: skip
    if seen.is_empty():
        return replace(base, concerns=("too_few",))
    effect = design_effect(seen.cast(pl.Float64).to_numpy(), animals.to_numpy())
    found = wilson(int(seen.sum()), len(seen), design_effect=effect)
    return replace(
        base, estimate=found.estimate, low=found.low, high=found.high, events=found.events
    )


def completeness(
    cohort: pl.DataFrame, exposures: Iterable[Exposure], day: int
) -> Iterator[Estimate]:
    """Give Clark's index up to `day` by clinic and by arm: days seen over days possible.

    For reluxation a stifle that was never palpated was seen for no day; held stifles are left
    out. For implant complications only stifles at risk count. Limits cluster by animal.
    """
    for clinic, rows in by_clinic(cohort):
        yield from _indices(Estimate(analysis="completeness", group=clinic, measure=""), rows, day)
    for exposure in exposures:
        for level, arm in exposure.arms():
            base = Estimate(
                analysis=f"completeness_{exposure.column}", group="all", term=exposure.column,
                level=level, population=exposure.population, measure="",
            )  # fmt: skip
            yield from _indices(base, arm, day)


def _indices(base: Estimate, rows: pl.DataFrame, day: int) -> Iterator[Estimate]:
    for outcome in FOLLOWED:
        known = rows.filter(pl.col("admin_end_day").is_not_null())
        if outcome == "relux":
            known = known.filter(~pl.col("relux_held").fill_null(value=False))
        else:
            known = known.filter(pl.col(f"{outcome}_day").is_not_null())
        row = replace(
            base, outcome=outcome, day=float(day), measure="completeness", confidence=0.95,
            n=len(known), n_dropped=len(rows) - len(known), clusters=known["animal_id"].n_unique(),
            method="Clark: days seen over days possible, limits by animal on the logit scale",
        )  # fmt: skip
        yield _index(row, known, day)


def _index(base: Estimate, known: pl.DataFrame, day: int) -> Estimate:
    ended = (pl.col(f"{base.outcome}_state") != "censored").fill_null(value=False)
    found = completeness_index(
        known[f"{base.outcome}_day"].fill_null(0).to_numpy(),
        known["admin_end_day"].to_numpy(),
        known.select(ended.alias("ended"))["ended"].to_numpy(),
        cluster=known["animal_id"].to_numpy(),
        horizon=day,
    )
    numbers = (found.estimate, found.low, found.high, found.std_error)
    share, low, high, error = (float(x) if np.isfinite(x) else None for x in numbers)
    concerns = ("too_few",) if share is None else ()
    return replace(base, estimate=share, low=low, high=high, std_error=error, concerns=concerns)


def _rechecks(base: Estimate, rows: pl.DataFrame) -> Iterator[Estimate]:
    for day in TIME_FRAMES:
        yield recheck_share(base, rows, day)


def _median(base: Estimate, known: pl.DataFrame, day: str, state: str) -> Estimate:
    if known.is_empty():
        return replace(base, concerns=("too_few",))
    ended = (known[state] != "censored").cast(pl.Float64).to_numpy()
    times = known[day].cast(pl.Float64).to_numpy()
    found = reverse_kaplan_meier(times, ended).quantile(0.5)
    numbers = (found.estimate, found.low, found.high)
    middle, low, high = (float(x) if np.isfinite(x) else None for x in numbers)
    return replace(base, estimate=middle, low=low, high=high, confidence=0.95)
