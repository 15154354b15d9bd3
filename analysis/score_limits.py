"""The score statistic of a difference between two proportions, and where it takes a value.

Miettinen O, Nurminen M. Stat Med 1985;4:213-226, with the closed form of their appendix.
"""

import numpy as np

from analysis.two_groups import TwoGroups


def where_score_is(
    z: float, groups: TwoGroups, ends: tuple[float, float], *, finite_factor: bool
) -> float:
    """Find the difference between `ends` at which the score statistic is `z`, by bisection."""
    low, high = ends
    for _ in range(60):
        middle = (low + high) / 2
        if _score(middle, groups, finite_factor) > z:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _score(difference: float, groups: TwoGroups, finite_factor: bool) -> float:
    """Signed score statistic; falls as `difference` grows."""
    exposed, reference = groups.shares
    likely1, likely0 = _most_likely(difference, groups)
    variance = likely1 * (1 - likely1) / groups.n + likely0 * (1 - likely0) / groups.reference_n
    total = groups.n + groups.reference_n
    if finite_factor:
        variance *= total / (total - 1)
    gap = exposed - reference - difference
    if variance <= 0:
        return float(np.copysign(np.inf, gap)) if gap else 0.0
    return float(gap / np.sqrt(variance))


def _most_likely(difference: float, groups: TwoGroups) -> tuple[float, float]:
    """Most likely proportions with `difference` between them: the root of a cubic."""
    n1, n0 = groups.n, groups.reference_n
    total, events = n1 + n0, groups.events + groups.reference_events
    quadratic = (n1 + 2 * n0) * difference - total - events
    linear = (n0 * difference - total - 2 * groups.reference_events) * difference + events
    constant = groups.reference_events * difference * (1 - difference)
    third = quadratic / (3 * total)
    q = third**3 - quadratic * linear / (6 * total**2) + constant / (2 * total)
    p = np.copysign(np.sqrt(max(third**2 - linear / (3 * total), 0.0)), q)
    angle = (np.pi + np.arccos(np.clip(q / p**3, -1, 1))) / 3 if p else 0.0
    likely0 = 2 * p * np.cos(angle) - third
    likely0 = float(np.clip(likely0, max(0.0, -difference), min(1.0, 1.0 - difference)))
    return float(np.clip(likely0 + difference, 0.0, 1.0)), likely0
