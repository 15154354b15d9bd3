"""Switches of study.toml that contradict each other."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from shared.errors import PlanError

if TYPE_CHECKING:
    from pipeline.study import Eligibility, Outcomes


def refuse_contradictions(path: Path, eligibility: "Eligibility", outcomes: "Outcomes") -> None:
    """Raise PlanError at the first pair of switches that cannot both be meant."""
    for what, do in (*_empty_choices(eligibility), *_contradictory_dates(eligibility)):
        raise PlanError(f"{path}, [eligibility]", what, do=do)
    if not outcomes.horizons or min(outcomes.horizons) < 1:
        raise PlanError(
            f"{path}, [outcomes]", "horizons must hold days, 1 or later",
            do="For example horizons = [91, 183, 365].",
        )  # fmt: skip
    if outcomes.window_days >= min(outcomes.horizons):
        raise PlanError(
            f"{path}, [outcomes]",
            f"window_days ({outcomes.window_days}) reaches from the first horizon "
            f"({min(outcomes.horizons)}) back to the operation, so that nobody need be looked at",
            do="Make window_days shorter than the first of horizons.",
        )


def _empty_choices(eligibility: "Eligibility") -> Iterator[tuple[str, str]]:
    """Tell of switches that leave nobody, alone or with an exclusion of all that they let in."""
    for name in ("species", "direction", "grades", "procedures"):
        if not getattr(eligibility, name):
            yield (f'"{name}" is empty, so that nobody can be included',
                   "Name at least one, or take the key out to have the default.")  # fmt: skip
    for column, name in (("species", "species"), ("luxation_direction", "direction"),
                         ("grade_preop", "grades")):  # fmt: skip
        for item in eligibility.exclude:
            let_in = {str(value) for value in getattr(eligibility, name)}
            if item.column == column and let_in <= {*item.values}:
                yield (f'"{name}" lets in {", ".join(sorted(let_in))}, and "{item.label}" '
                       "excludes all of it", f"Change {name}, or that exclusion.")  # fmt: skip


def _contradictory_dates(eligibility: "Eligibility") -> Iterator[tuple[str, str]]:
    start, end = eligibility.accrual_start, eligibility.accrual_end
    if start and end and end < start:
        yield (f"accrual ends ({end}) before it starts ({start})",
               "Exchange or correct the two dates.")  # fmt: skip
