"""Two groups compared within strata: Mantel-Haenszel ratios and difference, and their evenness."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from analysis.chi_square import NO_TEST, Test, chi_square_test, normal_quantile
from analysis.two_groups import TwoGroups
from analysis.two_proportions import Contrast


@dataclass(frozen=True, slots=True, kw_only=True)
class Stratified:
    """Contrasts over all strata with tests of no association and of one odds ratio for all.

    `strata` counts those with both groups; `telling` those that also have events and
    non-events: only these bear on the odds ratio and its tests.
    """

    odds_ratio: Contrast
    risk_ratio: Contrast
    risk_difference: Contrast
    association: Test
    association_corrected: Test
    breslow_day: Test
    tarone: Test
    strata: int
    telling: int


@dataclass(frozen=True, slots=True)
class _Cells:
    """Cells of the strata, each shape (k,): exposed with event a, without b; reference c, d."""

    a: FloatArray
    b: FloatArray
    c: FloatArray
    d: FloatArray

    @property
    def n(self) -> FloatArray:
        return self.a + self.b + self.c + self.d


def mantel_haenszel(strata: tuple[TwoGroups, ...], *, confidence: float = 0.95) -> Stratified:
    """Compare two groups within strata.

    Parameters
    ----------
    strata
        The groups of each stratum; one with a group missing says nothing and is not among them.

    Notes
    -----
    Weights of Mantel and Haenszel [1]_; variances of the log odds ratio [2]_, of the log risk
    ratio [3]_ and of the difference [4]_, which hold for few large strata and many small ones
    alike. Evenness: Breslow and Day's test, and Tarone's correction of it [5]_.

    References
    ----------
    .. [1] Mantel N, Haenszel W. J Natl Cancer Inst 1959;22:719-748.
    .. [2] Robins J, Breslow N, Greenland S. Biometrics 1986;42:311-323.
    .. [3] Greenland S, Robins JM. Biometrics 1985;41:55-68.
    .. [4] Sato T, Greenland S, Robins JM. Biometrics 1989;45:1323-1324.
    .. [5] Tarone RE. Biometrika 1985;72:91-95.
    """
    if not strata:
        raise ValueError("no stratum has both groups")
    cells = _cells(strata)
    tells = ((cells.a + cells.c) > 0) & ((cells.b + cells.d) > 0)
    telling = tuple(group for group, told in zip(strata, tells, strict=True) if told)
    odds = _odds_ratio(cells, confidence)
    plain, corrected = _association(_cells(telling)) if telling else (NO_TEST, NO_TEST)
    even = (NO_TEST, NO_TEST)
    if len(telling) > 1 and np.isfinite(odds.estimate):
        even = _evenness(_cells(telling), odds.estimate)
    return Stratified(
        odds_ratio=odds, risk_ratio=_risk_ratio(cells, confidence),
        risk_difference=_difference(cells, confidence), association=plain,
        association_corrected=corrected, breslow_day=even[0], tarone=even[1],
        strata=len(strata), telling=len(telling),
    )  # fmt: skip


def _cells(strata: tuple[TwoGroups, ...]) -> _Cells:
    seen = np.array([(one.events, one.n) for one in strata], dtype=np.float64).T
    of_reference = [(one.reference_events, one.reference_n) for one in strata]
    other = np.array(of_reference, dtype=np.float64).T
    return _Cells(seen[0], seen[1] - seen[0], other[0], other[1] - other[0])


def _odds_ratio(cells: _Cells, confidence: float) -> Contrast:
    for_it, against = cells.a * cells.d / cells.n, cells.b * cells.c / cells.n
    agree, differ = (cells.a + cells.d) / cells.n, (cells.b + cells.c) / cells.n
    top, bottom = float(for_it.sum()), float(against.sum())
    if not top or not bottom:
        return _ratio("odds_ratio", (top, bottom), np.nan, confidence, concern="separation")
    variance = (agree * for_it).sum() / (2 * top**2) + (differ * against).sum() / (2 * bottom**2)
    variance += (agree * against + differ * for_it).sum() / (2 * top * bottom)
    return _ratio("odds_ratio", (top, bottom), float(variance), confidence)


def _risk_ratio(cells: _Cells, confidence: float) -> Contrast:
    exposed, reference, n = cells.a + cells.b, cells.c + cells.d, cells.n
    top = float((cells.a * reference / n).sum())
    bottom = float((cells.c * exposed / n).sum())
    if not top or not bottom:
        return _ratio("risk_ratio", (top, bottom), np.nan, confidence, concern="no_events")
    spread = exposed * reference * (cells.a + cells.c) / n**2 - cells.a * cells.c / n
    return _ratio("risk_ratio", (top, bottom), float(spread.sum()) / (top * bottom), confidence)


def _difference(cells: _Cells, confidence: float) -> Contrast:
    n = cells.n
    exposed, reference = (cells.a + cells.b) / n, (cells.c + cells.d) / n
    weight = float((n * exposed * reference).sum())
    difference = float((cells.a * reference - cells.c * exposed).sum()) / weight
    uneven = cells.c * exposed**2 - cells.a * reference**2
    uneven += n * exposed * reference * (reference - exposed) / 2
    within = (cells.a * cells.d + cells.c * cells.b) / n / 2
    variance = float((difference * uneven + within).sum()) / weight**2
    error = float(np.sqrt(max(variance, 0.0)))
    half = normal_quantile(confidence) * error
    return Contrast(
        measure="risk_difference", estimate=difference, std_error=error, low=difference - half,
        high=difference + half, confidence=confidence, method="Mantel-Haenszel, Sato's variance",
        concerns=() if (cells.a + cells.c).any() else ("no_events",),
    )  # fmt: skip


def _ratio(
    measure: str, parts: tuple[float, float], variance: float, confidence: float,
    *, concern: str | None = None,
) -> Contrast:  # fmt: skip
    error = float(np.sqrt(variance))
    estimate = float("nan") if concern else parts[0] / parts[1]
    factor = float(np.exp(normal_quantile(confidence) * error))
    return Contrast(
        measure=measure, estimate=estimate, std_error=error, low=estimate / factor,
        high=estimate * factor, confidence=confidence, method="Mantel-Haenszel",
        concerns=(concern,) if concern else (),
    )  # fmt: skip


def _association(cells: _Cells) -> tuple[Test, Test]:
    """Give the test of no association (1 df), without and with half a count taken off."""
    n, exposed, events = cells.n, cells.a + cells.b, cells.a + cells.c
    variance = float((exposed * (n - exposed) * events * (n - events) / (n**2 * (n - 1))).sum())
    apart = abs(float((cells.a - exposed * events / n).sum()))
    half = min(0.5, apart)
    return chi_square_test(apart**2 / variance, 1), chi_square_test(
        (apart - half) ** 2 / variance, 1
    )


def _evenness(cells: _Cells, ratio: float) -> tuple[Test, Test]:
    """Set the events seen among the exposed against those a common odds ratio expects."""
    exposed, events, reference = cells.a + cells.b, cells.a + cells.c, cells.c + cells.d
    middle = reference - events + ratio * (events + exposed)
    root = np.sqrt(middle**2 + 4 * (1 - ratio) * ratio * events * exposed)
    expected = 2 * ratio * events * exposed / (middle + root)
    parts = (expected, exposed - expected, events - expected, reference - events + expected)
    variance = 1 / np.sum([1 / part for part in parts], axis=0)
    statistic = float(((cells.a - expected) ** 2 / variance).sum())
    off = float((cells.a - expected).sum()) ** 2 / float(variance.sum())
    df = len(expected) - 1
    return chi_square_test(statistic, df), chi_square_test(statistic - off, df)
