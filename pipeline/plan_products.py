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
    if values["model"] == "cox" and values.get("profiles"):
        _refuse_cox_profiles(place, values)
    for name, profile in values.get("profiles", {}).items():
        for column in profile:
            if column not in known:
                raise PlanError(
                    place, f'the profile "{name}" names "{column}", which is no term',
                    do=nearest(column, known),
                )  # fmt: skip


def _refuse_cox_profiles(place: str, values: Mapping[str, Any]) -> None:
    """Refuse what a risk from one hazard cannot be had with."""
    if not values.get("horizon"):
        raise PlanError(place, "risks of profiles need their days", do="Add horizon = […].")
    if values.get("competing"):
        raise PlanError(
            place, "risks of profiles beside competing events need the hazards of both",
            do='Take profiles out, or ask for adjustments = ["standardised"].',
        )  # fmt: skip
    if values.get("ties") == "exact":
        raise PlanError(
            place, 'risks of profiles are not there with ties = "exact"', do='Use ties = "efron".'
        )
    for key in ("strata", "weights"):
        if values.get(key):
            raise PlanError(
                place, f"risks of profiles are not there with {key}", do="Take one of the two out."
            )
