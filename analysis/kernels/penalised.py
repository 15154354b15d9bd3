"""Climb a penalised likelihood to its top, all coefficients or some of them held."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class PenalisedPoint:
    """The penalised likelihood at one set of coefficients; -inf where it has no value."""

    penalised: float
    gradient: FloatArray  # (p,), penalised score
    information: FloatArray  # (p, p), not penalised


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PenalisedTop:
    """Where the penalised likelihood is highest over the free coefficients."""

    coefficients: FloatArray  # (p,)
    log_likelihood: float  # penalised
    gradient: FloatArray  # (p,), penalised score; nil for the free coefficients
    information: FloatArray  # (p, p), not penalised
    steps: int
    converged: bool


def climb(
    point_at: Callable[[FloatArray], PenalisedPoint],
    *,
    start: FloatArray,
    free: BoolArray,
    largest_step: float,
    tolerance: float = 1e-9,
    max_steps: int = 200,
) -> PenalisedTop:
    """Climb by scoring with the plain information and step halving.

    Held coefficients stay at `start`, shape (p,); no coefficient moves further than
    `largest_step` at once.
    """
    beta = start.copy()
    here = point_at(beta)
    for step in range(1, max_steps + 1):
        move = np.zeros_like(beta)
        move[free] = np.linalg.solve(here.information[np.ix_(free, free)], here.gradient[free])
        largest = float(np.abs(move).max(initial=0.0))
        move *= min(1.0, largest_step / max(largest, largest_step))
        following = point_at(beta + move)
        halvings = 0
        while not following.penalised >= here.penalised - 1e-10 and halvings < 30:
            move, halvings = move / 2, halvings + 1
            following = point_at(beta + move)
        beta, here = beta + move, following
        if largest < tolerance:
            return _top(beta, here, step, converged=True)
        if not np.isfinite(here.penalised):
            break
    return _top(beta, here, max_steps, converged=False)


def _top(beta: FloatArray, point: PenalisedPoint, steps: int, *, converged: bool) -> PenalisedTop:
    return PenalisedTop(
        coefficients=beta,
        log_likelihood=point.penalised,
        gradient=point.gradient,
        information=point.information,
        steps=steps,
        converged=converged,
    )
