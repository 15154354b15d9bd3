"""Two proportions of few stifles: Fisher's exact test, and the odds ratio that goes with it."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import fisher_exact
from scipy.stats.contingency import odds_ratio

from analysis.chi_square import normal_quantile
from analysis.two_groups import TwoGroups


@dataclass(frozen=True, slots=True, kw_only=True)
class ExactTest:
    """Two-sided p, the conditional odds ratio and its exact limits; the ratio may be infinite."""

    p_value: float
    odds_ratio: float  # of most likelihood given both margins; NaN where nobody or all had it
    low: float
    high: float
    confidence: float


def fisher_test(groups: TwoGroups, *, confidence: float = 0.95) -> ExactTest:
    """Test two proportions without a large-sample approximation.

    The two-sided p sums the tables no likelier than the one seen; the limits are those of two
    one-sided tests, so that they and p can disagree at the edge, as in R.

    Notes
    -----
    Rows are taken as independent. R: ``fisher.test``.

    References
    ----------
    .. [1] Fisher RA. J R Stat Soc 1935;98:39-82.
    """
    normal_quantile(confidence)
    table = np.array([
        [groups.events, groups.n - groups.events],
        [groups.reference_events, groups.reference_n - groups.reference_events],
    ])  # fmt: skip
    p_value = float(np.asarray(fisher_exact(table))[1])
    if not table.sum(axis=0).all():
        nan = float("nan")
        return ExactTest(p_value=p_value, odds_ratio=nan, low=0.0, high=float("inf"),
                         confidence=confidence)  # fmt: skip
    found = odds_ratio(table, kind="conditional")
    limits = found.confidence_interval(confidence_level=confidence)
    return ExactTest(
        p_value=p_value, odds_ratio=float(found.statistic), low=float(limits.low),
        high=float(limits.high), confidence=confidence,
    )  # fmt: skip
