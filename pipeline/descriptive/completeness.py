"""What is not known: values by clinic, rechecks by time frame, held stifles, follow-up."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import polars as pl

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
    base = replace(
        base, day=float(day), state="rechecked", measure="proportion", n=len(due),
        n_dropped=len(rows) - len(due), clusters=due["animal_id"].n_unique(), confidence=0.95,
        method="Wilson, n over the design effect of animals",
    )  # fmt: skip
    if due.is_empty():
        return replace(base, concerns=("too_few",))
    seen = due[f"adequate_{day}"].fill_null(value=False)
    effect = design_effect(seen.cast(pl.Float64).to_numpy(), due["animal_id"].to_numpy())
    found = wilson(int(seen.sum()), len(due), design_effect=effect)
    return replace(
        base, estimate=found.estimate, low=found.low, high=found.high, events=found.events
    )


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
