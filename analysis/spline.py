"""Restricted cubic splines: a smooth curve that is a straight line beyond the outer knots."""

from collections.abc import Mapping

import numpy as np

from analysis.arrays import FloatArray

# Places of the knots as quantiles of the column, by number of knots.
KNOT_QUANTILES: Mapping[int, tuple[float, ...]] = {
    3: (0.10, 0.50, 0.90),
    4: (0.05, 0.35, 0.65, 0.95),
    5: (0.05, 0.275, 0.50, 0.725, 0.95),
    6: (0.05, 0.23, 0.41, 0.59, 0.77, 0.95),
    7: (0.025, 0.1833, 0.3417, 0.50, 0.6583, 0.8167, 0.975),
}


def knots_at_quantiles(values: FloatArray, count: int, *, name: str = "values") -> FloatArray:
    """Place knots at Harrell's quantiles of a column (quantile type 7, as R's default).

    Parameters
    ----------
    values
        Shape (n,), finite.
    count
        Number of knots, 3 to 7.
    name
        Name of the column, for the message.

    Raises
    ------
    ValueError
        If `count` is not 3 to 7, or two knots fall on the same value.

    References
    ----------
    Harrell FE. Regression Modeling Strategies, 2nd ed. 2015, table 2.3.
    """
    if count not in KNOT_QUANTILES:
        raise ValueError(f"spline of {name}: 3 to 7 knots, got {count}")
    knots = np.quantile(values, KNOT_QUANTILES[count])
    if len(np.unique(knots)) < count:
        raise ValueError(
            f"spline of {name}: {count} knots need {count} distinct quantiles, "
            f"got {', '.join(f'{knot:g}' for knot in knots)}; use fewer knots"
        )
    return knots


def restricted_cubic_basis(values: FloatArray, knots: FloatArray) -> FloatArray:
    """Give the columns of a restricted cubic spline: the value itself, then the curved parts.

    Parameters
    ----------
    values
        Shape (n,).
    knots
        Shape (k,), ascending.

    Returns
    -------
    FloatArray
        Shape (n, k - 1). The curved parts are divided by the squared distance of the outer
        knots, so that they have the unit of `values` (Harrell 2015, section 2.4.5; the same as
        ``Hmisc::rcspline.eval(x, knots, inclx = TRUE)``).
    """
    first, before_last, last = knots[0], knots[-2], knots[-1]

    def cubed(knot: float) -> FloatArray:
        return np.maximum(values - knot, 0.0) ** 3

    curved = [
        cubed(knot)
        - cubed(before_last) * (last - knot) / (last - before_last)
        + cubed(last) * (before_last - knot) / (last - before_last)
        for knot in knots[:-2]
    ]
    return np.column_stack([values, *(part / (last - first) ** 2 for part in curved)])
