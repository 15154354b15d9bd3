"""Limits of a profile likelihood: where twice the drop from its top reaches a chi-square value."""

from collections.abc import Callable

import numpy as np

FURTHEST = 1e3  # times the first guess's distance: a profile still too high there has no limit


def profile_limit(
    drop: Callable[[float], tuple[float, float]],
    estimate: float,
    *,
    first_guess: float,
    root_target: float,
    tolerance: float = 1e-9,
    max_steps: int = 60,
) -> float:
    """Find the value, on the side of `first_guess`, where the root of the drop is `root_target`.

    Parameters
    ----------
    drop
        Gives, at a value of the parameter, 2 (l max - l profile) and its derivative.
    root_target
        Square root of the chi-square quantile: 1.959964 for 95% limits.

    Returns
    -------
    float
        The limit; plus or minus infinity where the profile never falls that far, NaN where a
        profile fit failed.

    Notes
    -----
    Newton's method on the signed root, which is close to linear, inside a bracket that shrinks.
    """
    reach = first_guess - estimate
    inner, outer, value = estimate, None, first_guess
    for _ in range(max_steps):
        fallen, slope = drop(value)
        if not np.isfinite(fallen):
            return float("nan")
        root = float(np.sqrt(max(fallen, 0.0)))
        if root < root_target:
            inner = value
        else:
            outer = value
        step = (root_target - root) * 2 * root / slope if slope else float("inf")
        following = _inside(value + step, inner, outer, estimate)
        if abs(following - value) < tolerance * abs(reach):
            return following
        if abs(following - estimate) > FURTHEST * abs(reach):
            return float(np.copysign(np.inf, reach))
        value = following
    return float("nan")


def _inside(value: float, inner: float, outer: float | None, estimate: float) -> float:
    """Keep the next value in the bracket; without an outer end, at most three times as far."""
    if outer is None:
        furthest = estimate + 3 * (inner - estimate)
        ahead = (value - inner) * (inner - estimate) > 0
        near = abs(value - estimate) <= abs(furthest - estimate)
        return value if ahead and near else furthest
    low, high = min(inner, outer), max(inner, outer)
    return value if low < value < high else (low + high) / 2
