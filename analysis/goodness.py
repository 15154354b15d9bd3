"""How well predicted risks separate and match a binary outcome."""

import numpy as np
import numpy.typing as npt
from scipy.stats import rankdata

from analysis.arrays import finite_vector, zero_one
from analysis.chi_square import NO_TEST, Test, chi_square_test


def area_under_curve(risk: npt.ArrayLike, y: npt.ArrayLike) -> float:
    """Probability that a row with the outcome has the higher risk; equal risks count one half.

    NaN where all outcomes agree. R: ``pROC::auc``.

    References
    ----------
    .. [1] Hanley JA, McNeil BJ. Radiology 1982;143:29-36.
    """
    predicted = finite_vector(risk, "risk")
    outcome = zero_one(y, "y", rows=len(predicted))
    cases = outcome.sum()
    others = len(outcome) - cases
    if not cases or not others:
        return float("nan")
    rank_sum = float(rankdata(predicted)[outcome == 1].sum())
    return float((rank_sum - cases * (cases + 1) / 2) / (cases * others))


def hosmer_lemeshow(risk: npt.ArrayLike, y: npt.ArrayLike, *, groups: int = 10) -> Test:
    """Test the fit by groups of predicted risk [1]_.

    Parameters
    ----------
    risk
        Fitted risks, shape (n,), between 0 and 1.
    y
        Outcome, 0 or 1, shape (n,).
    groups
        Number of groups, 3 or more; cut at quantiles by averaged inverse distribution (type 2),
        as Stata's ``estat gof, group(10)``. Other quantiles give another statistic.

    Returns
    -------
    Test
        Chi-square with groups - 2 degrees of freedom, for the data the model was made from. NaN
        where fewer than three groups are left after ties.

    References
    ----------
    .. [1] Hosmer DW, Lemeshow S. Commun Stat A 1980;9:1043-1069.
    """
    predicted = finite_vector(risk, "risk")
    outcome = zero_one(y, "y", rows=len(predicted))
    if groups < 3:
        raise ValueError(f"groups must be at least 3, got {groups}")
    cuts = np.quantile(predicted, np.arange(1, groups) / groups, method="averaged_inverted_cdf")
    place = np.searchsorted(cuts, predicted, side="left")
    number = np.bincount(place, minlength=groups).astype(np.float64)
    expected = np.bincount(place, predicted, minlength=groups)
    observed = np.bincount(place, outcome, minlength=groups)
    used = (number > 0) & (expected > 0) & (expected < number)
    if used.sum() < 3:
        return NO_TEST
    number, expected, observed = number[used], expected[used], observed[used]
    terms = (observed - expected) ** 2 / (expected * (1 - expected / number))
    return chi_square_test(float(terms.sum()), int(used.sum()) - 2)
