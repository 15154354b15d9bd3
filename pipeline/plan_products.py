"""Interactions and profiles of a plan: what they may name."""

from collections.abc import Mapping
from typing import Any

from shared.errors import PlanError, nearest


def refuse_products(place: str, values: Mapping[str, Any], known: list[str]) -> None:
    """Refuse interactions and profiles that name no term, and splines that would interact.

    Raises
    ------
    PlanError
        Naming the column and what to do.
    """
    for pair_of in values.get("interactions", ()):
        for column in pair_of:
            if column not in known:
                raise PlanError(
                    place, f'interactions names "{column}", which is no term of the analysis',
                    do=nearest(column, known),
                )  # fmt: skip
            if column in values.get("spline", {}):
                raise PlanError(
                    place, f'"{column}" is a spline and cannot interact',
                    do="Take it out of spline, or out of interactions.",
                )  # fmt: skip
    for name, profile in values.get("profiles", {}).items():
        for column in profile:
            if column not in known:
                raise PlanError(
                    place, f'the profile "{name}" names "{column}", which is no term',
                    do=nearest(column, known),
                )  # fmt: skip
