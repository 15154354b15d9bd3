"""Columns of a design that carry nothing new, named before a fit is tried."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray

NOTHING_NEW = 1e-9  # share of a column's variance that earlier columns leave unexplained


@dataclass(frozen=True, slots=True, kw_only=True)
class Redundant:
    """One column that earlier ones determine; `because` is empty where it is constant."""

    name: str
    because: tuple[str, ...]

    def in_words(self) -> str:
        """Say what is wrong with the column."""
        if not self.because:
            return f"{self.name} is the same in every row"
        return f"{self.name} is determined by {', '.join(self.because)}"


def find_redundant(
    x: FloatArray, names: Sequence[str], *, intercept: bool = True
) -> tuple[Redundant, ...]:
    """Find the columns of `x`, shape (n, p), that are constant or a sum of earlier columns.

    Columns are taken in order, after the intercept where there is one: an exposure named first
    is kept and what repeats it is named. A near copy (all but one part in 1e9 of its variance
    explained) counts as a copy.
    """
    if not len(x):
        return tuple(Redundant(name=name, because=()) for name in names)
    size = np.abs(x).max(axis=0)
    centred = x - x.mean(axis=0) if intercept else x
    spread = np.sqrt((centred**2).mean(axis=0))
    constant = spread <= 1e-12 * np.where(size > 0, size, 1.0)
    z = centred / np.where(constant, 1.0, spread)
    gram = z.T @ z / len(x)
    found: list[Redundant] = []
    kept: list[int] = []
    for place, name in enumerate(names):
        if constant[place]:
            found.append(Redundant(name=name, because=()))
            continue
        shares = np.linalg.lstsq(gram[np.ix_(kept, kept)], gram[kept, place], rcond=None)[0]
        if gram[place, place] - shares @ gram[kept, place] < NOTHING_NEW:
            because = [names[k] for k, share in zip(kept, shares, strict=True) if abs(share) > 1e-6]
            found.append(Redundant(name=name, because=tuple(because)))
        else:
            kept.append(place)
    return tuple(found)
