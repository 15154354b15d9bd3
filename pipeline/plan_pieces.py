"""Pieces of time of a plan: with which distribution they go, and what only they can take."""

from collections.abc import Mapping
from typing import Any

from shared.errors import PlanError

PIECES = "piecewise_exponential"


def refuse_pieces(place: str, values: Mapping[str, Any]) -> None:
    """Refuse pieces without days, days without pieces, and late entry or weights without them.

    Raises
    ------
    PlanError
        Naming the key and what to do.
    """
    distribution, cuts = values.get("distribution"), values.get("cut_days", ())
    if distribution == PIECES and not cuts:
        raise PlanError(
            place, f'distribution = "{PIECES}" needs the days at which the hazard may change',
            do="Add for example cut_days = [42, 91, 183].",
        )  # fmt: skip
    if cuts and distribution not in (None, PIECES):
        raise PlanError(
            place, f'distribution = "{distribution}" does not use "cut_days"',
            do=f'Take cut_days out, or use distribution = "{PIECES}".',
        )  # fmt: skip
    if cuts and cuts[0] <= 0:
        raise PlanError(
            place, "cut_days holds 0: time begins there", do="Name days after surgery only."
        )
    for key in ("entry", "weights"):
        if values["model"] == "parametric_survival" and key in values and distribution != PIECES:
            raise PlanError(
                place, f'"{key}" goes with distribution = "{PIECES}" only',
                do="Name that distribution and cut_days, or take the key out.",
            )  # fmt: skip
