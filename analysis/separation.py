"""Find, before any fit, the terms whose odds ratio would be infinite."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, column_names, finite_matrix, zero_one
from analysis.scaling import scaled_design

ZERO = 1e-5  # the linear programme keeps its constraints to 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Separated:
    """A term without a finite maximum-likelihood estimate."""

    name: str
    kind: Literal["complete", "quasi"]  # complete: the terms together tell all outcomes apart
    towards: Literal["plus_infinity", "minus_infinity", "either"]


def find_separation(
    x: npt.ArrayLike, y: npt.ArrayLike, names: Sequence[str] = ()
) -> tuple[Separated, ...]:
    """Find the terms that separate the outcomes, by linear programming.

    Parameters
    ----------
    x
        Terms without the intercept, shape (n, q), of full rank (see ``find_redundant``).
    y
        Outcome, 0 or 1, shape (n,).

    Returns
    -------
    tuple of Separated
        In the order of the columns; empty where all estimates are finite.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing or infinite or `y` is not 0/1.

    Notes
    -----
    There is separation when some direction raises the linear predictor of no non-event and
    lowers that of no event, and moves at least one [1]_. A term has an infinite estimate when
    such a direction moves its coefficient [2]_. R: ``detectseparation::detect_separation``.
    Weights above zero change nothing; rows of weight zero must be left out.

    References
    ----------
    .. [1] Albert A, Anderson JA. Biometrika 1984;71:1-10.
    .. [2] Konis K. Linear programming algorithms for detecting separated data in binary logistic
       regression models. DPhil thesis, Oxford 2007.
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    labels = column_names(names, matrix.shape[1])
    if not matrix.size or outcome.all() or not outcome.any():
        return ()
    z, _ = scaled_design(matrix)
    signed = np.unique(z * (2 * outcome - 1)[:, None], axis=0)
    everything = signed.sum(axis=0)
    direction = _furthest(signed, everything)
    if (signed @ direction).max() < ZERO:
        return ()
    kind = "complete" if _is_complete(signed) else "quasi"
    found: list[Separated] = []
    for place, name in enumerate(labels, start=1):
        unit = np.zeros(signed.shape[1])
        unit[place] = 1.0
        up = unit @ _furthest(signed, unit) > ZERO
        down = -unit @ _furthest(signed, -unit) > ZERO
        if up or down:
            towards = "either" if up and down else "plus_infinity" if up else "minus_infinity"
            found.append(Separated(name=name, kind=kind, towards=towards))
    return tuple(found)


def _furthest(signed: FloatArray, objective: FloatArray) -> FloatArray:
    """Go as far along `objective` as the box and ``signed @ direction >= 0`` allow."""
    from scipy.optimize import linprog  # slow to import, and rarely needed

    solved = linprog(
        -objective, A_ub=-signed, b_ub=np.zeros(len(signed)), bounds=(-1, 1), method="highs"
    )
    if solved.status != 0:
        raise RuntimeError(f"the linear programme for separation failed: {solved.message}")
    return np.asarray(solved.x, dtype=np.float64)


def _is_complete(signed: FloatArray) -> bool:
    """Whether one direction moves every row the right way: the widest margin is above zero."""
    from scipy.optimize import linprog

    p = signed.shape[1]
    widest = linprog(
        np.append(np.zeros(p), -1.0),
        A_ub=np.column_stack([-signed, np.ones(len(signed))]),
        b_ub=np.zeros(len(signed)),
        bounds=[(-1, 1)] * p + [(0, 1)],
        method="highs",
    )
    return widest.status == 0 and float(widest.x[-1]) > ZERO
