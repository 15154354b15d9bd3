"""Two proportions of few stifles: exact and mid-p tests, and the odds ratio that goes with them."""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln
from scipy.stats import fisher_exact

from analysis.arrays import FloatArray
from analysis.chi_square import normal_quantile
from analysis.conditional_count import conditional_ratio, exact_limits, upper_tail
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
    return _limited(groups, p_value, share=1.0, confidence=confidence)


def mid_p_test(groups: TwoGroups, *, confidence: float = 0.95) -> ExactTest:
    """Test and limit the conditional odds ratio counting the table seen by half.

    Less cautious than Fisher's: the coverage is near the nominal one, not at least it. p is
    twice the smaller one-sided mid-p, so that it agrees with the limits.

    References
    ----------
    .. [1] Lancaster HO. J Am Stat Assoc 1961;56:223-234.
    .. [2] Fagerland MW, Lydersen S, Laake P. Stat Methods Med Res 2015;24:224-254.
    """
    normal_quantile(confidence)
    weights, at = _tables(groups)
    above = upper_tail(0.0, weights, at, share=0.5)
    p_value = min(1.0, 2 * min(above, 1 - above))
    return _limited(groups, p_value, share=0.5, confidence=confidence)


def _limited(groups: TwoGroups, p_value: float, *, share: float, confidence: float) -> ExactTest:
    """Give the ratio and its limits; `share` of the table seen counts towards each tail."""
    weights, at = _tables(groups)
    low, high = exact_limits(weights, at, share=share, confidence=confidence)
    return ExactTest(
        p_value=p_value, odds_ratio=conditional_ratio(weights, at), low=low, high=high,
        confidence=confidence,
    )  # fmt: skip


def _tables(groups: TwoGroups) -> tuple[FloatArray, int]:
    """Give log weights of all tables with these margins at odds ratio 1, and the place of ours."""
    events = groups.events + groups.reference_events
    least = max(0, events - groups.reference_n)
    x = np.arange(least, min(events, groups.n) + 1, dtype=np.float64)
    cells = (x, groups.n - x, events - x, groups.reference_n - events + x)
    weights = -sum(gammaln(cell + 1) for cell in cells)
    return np.asarray(weights, dtype=np.float64), groups.events - least
