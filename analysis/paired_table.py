"""A yes/no outcome in matched pairs: McNemar's test, exact and mid-p analysis, the difference."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

from analysis.chi_square import NO_TEST, Test, chi_square_test, normal_quantile
from analysis.proportions import clopper_pearson, wilson_limits
from analysis.two_proportions import Contrast


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Pairs by who had the outcome: both, the exposed only, the reference only, neither."""

    both: int
    exposed_only: int
    reference_only: int
    neither: int

    def __post_init__(self) -> None:
        counts = (self.both, self.exposed_only, self.reference_only, self.neither)
        if min(counts) < 0 or not self.n:
            raise ValueError(f"pairs are counts of at least one pair, got {counts}")

    @property
    def n(self) -> int:
        """Number of pairs."""
        return self.both + self.exposed_only + self.reference_only + self.neither

    @property
    def discordant(self) -> int:
        """Pairs that differ: only these bear on the odds ratio and the tests."""
        return self.exposed_only + self.reference_only


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedTable:
    """Odds ratio within pairs with exact limits, difference of risks, and the tests of neither."""

    odds_ratio: Contrast
    risk_difference: Contrast
    mcnemar: Test
    mcnemar_corrected: Test
    exact_p: float
    mid_p: float


def paired_table(pairs: Pairs, *, confidence: float = 0.95) -> PairedTable:
    """Compare the two members of each pair.

    Notes
    -----
    The odds ratio is that of most likelihood given the pairs that differ, the ratio of their
    counts; its exact limits are Clopper and Pearson's of their share. The exact p doubles the
    smaller tail; mid-p takes the probability of what was seen off it [2]_. McNemar's test [1]_
    without and with 1 taken off.

    References
    ----------
    .. [1] McNemar Q. Psychometrika 1947;12:153-157.
    .. [2] Fagerland MW, Lydersen S, Laake P. BMC Med Res Methodol 2013;13:91.
    """
    b, m = pairs.exposed_only, pairs.discordant
    gap = abs(pairs.exposed_only - pairs.reference_only)
    plain = chi_square_test(gap**2 / m, 1) if m else NO_TEST
    corrected = chi_square_test(max(gap - 1, 0) ** 2 / m, 1) if m else NO_TEST
    tail = float(binom.cdf(min(b, m - b), m, 0.5))
    return PairedTable(
        odds_ratio=_odds_ratio(pairs, confidence),
        risk_difference=_difference(pairs, confidence), mcnemar=plain,
        mcnemar_corrected=corrected, exact_p=min(1.0, 2 * tail),
        mid_p=min(1.0, 2 * tail - float(binom.pmf(b, m, 0.5))),
    )  # fmt: skip


def _odds_ratio(pairs: Pairs, confidence: float) -> Contrast:
    b, c, m = pairs.exposed_only, pairs.reference_only, pairs.discordant
    low, high, nan = 0.0, float("inf"), float("nan")
    if m:
        share = clopper_pearson(b, m, confidence=confidence)
        low = share.low / (1 - share.low)
        high = share.high / (1 - share.high) if share.high < 1 else high
    return Contrast(
        measure="odds_ratio", estimate=b / c if b and c else nan,
        std_error=float(np.sqrt(1 / b + 1 / c)) if b and c else nan,
        low=low, high=high, confidence=confidence, method="conditional, exact limits",
        concerns=() if b and c else ("separation",) if m else ("not_identified",),
    )  # fmt: skip


def _difference(pairs: Pairs, confidence: float) -> Contrast:
    """Give the difference with Newcombe's limits for pairs (his method 10).

    References
    ----------
    .. [1] Newcombe RG. Stat Med 1998;17:2635-2650.
    """
    z, n = normal_quantile(confidence), pairs.n
    exposed = (pairs.both + pairs.exposed_only) / n
    reference = (pairs.both + pairs.reference_only) / n
    low1, high1 = wilson_limits(exposed, n, z)
    low0, high0 = wilson_limits(reference, n, z)
    phi, difference = _likeness(pairs), exposed - reference
    down, up = (exposed - low1, high0 - reference), (high1 - exposed, reference - low0)
    low, high = (
        float(np.sqrt(one**2 - 2 * phi * one * other + other**2)) for one, other in (down, up)
    )
    return Contrast(
        measure="risk_difference", estimate=difference, std_error=float("nan"),
        low=difference - low, high=difference + high, confidence=confidence,
        method="Newcombe hybrid score for pairs",
    )  # fmt: skip


def _likeness(pairs: Pairs) -> float:
    """Correlate the members of pairs; a positive one is brought nearer nil by n / 2."""
    both, b, c, neither, n = (
        pairs.both, pairs.exposed_only, pairs.reference_only, pairs.neither, pairs.n,
    )  # fmt: skip
    margins = (both + b) * (c + neither) * (both + c) * (b + neither)
    if not margins:
        return 0.0
    product = both * neither - b * c
    corrected = max(product - n / 2, 0.0) if product > 0 else float(product)
    return corrected / float(np.sqrt(margins))
