"""The c-statistic with its limits: whether cases have the higher predicted risk."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    finite_vector,
    non_negative,
    zero_one,
)
from analysis.chi_square import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class Discrimination:
    """Area under the curve with limits; NaN where all outcomes agree."""

    estimate: float
    std_error: float
    low: float
    high: float
    confidence: float
    n: int
    events: int
    clusters: int | None


def c_statistic(
    risk: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
    confidence: float = 0.95,
) -> Discrimination:
    """Give the probability that a case has the higher risk, with DeLong's limits.

    Parameters
    ----------
    risk
        Predicted risks, shape (n,); only their order counts, equal ones count one half.
    y
        Outcome, 0 or 1, shape (n,).
    weights
        Weight of each row, shape (n,): a pair counts the product of its two.
    cluster
        Label of each row's cluster, shape (n,).

    Returns
    -------
    Discrimination
        Wald limits on the scale of the area, cut at 0 and 1, as ``pROC::ci.auc`` gives them.

    Notes
    -----
    The variance sums squared placements of cases and of others with n - 1 denominators [1]_.
    With clusters placements are summed by cluster, and cases and others of one cluster vary
    together [2]_; with a cluster a row that is DeLong's.

    References
    ----------
    .. [1] DeLong ER, DeLong DM, Clarke-Pearson DL. Biometrics 1988;44:837-845.
    .. [2] Obuchowski NA. Biometrics 1997;53:567-578.
    """
    score = finite_vector(risk, "risk")
    n = len(score)
    outcome = zero_one(y, "y", rows=n)
    w = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    codes = np.arange(n) if cluster is None else cluster_codes(cluster, rows=n)[0]
    used = w > 0
    score, outcome, w, codes = score[used], outcome[used], w[used], codes[used]
    events = int(outcome.sum())
    clusters = None if cluster is None else len(np.unique(codes))
    estimate, error = float("nan"), float("nan")
    if 0 < events < len(outcome):
        estimate, placed = _placements(score, outcome, w)
        error = float(np.sqrt(_variance(placed, outcome, codes)))
    half = normal_quantile(confidence) * error
    return Discrimination(
        estimate=estimate, std_error=error, low=float(np.maximum(estimate - half, 0.0)),
        high=float(np.minimum(estimate + half, 1.0)), confidence=confidence, n=len(outcome),
        events=events, clusters=clusters,
    )  # fmt: skip


def weighted_area(score: FloatArray, outcome: FloatArray, weights: FloatArray) -> float:
    """Give the area alone, unchecked: rows of weight 0 are allowed; NaN without a pair."""
    return _placements(score, outcome, weights)[0]


def _placements(
    score: FloatArray, outcome: FloatArray, weights: FloatArray
) -> tuple[float, FloatArray]:
    """Give the area, and how each row's placement lies from it, as a share of the area."""
    _, place = np.unique(score, return_inverse=True)
    other = weights * (1 - outcome)
    case = weights * outcome
    n_other, n_case = other.sum(), case.sum()
    if not n_other or not n_case:
        return float("nan"), np.full(len(score), np.nan)
    others_at, cases_at = np.bincount(place, other), np.bincount(place, case)
    below = (np.cumsum(others_at) - others_at / 2) / n_other
    above = (np.cumsum(cases_at[::-1])[::-1] - cases_at / 2) / n_case
    area = float(case @ below[place] / n_case)
    of_case = case * (below[place] - area) / n_case
    of_other = other * (above[place] - area) / n_other
    return area, of_case + of_other


def _variance(placed: FloatArray, outcome: FloatArray, codes: IntArray) -> float:
    """Sum the squares of cases' and of others' placements by cluster, and their products."""
    _, at = np.unique(codes, return_inverse=True)
    sums = [np.bincount(at, placed * (outcome == kind)) for kind in (1, 0)]
    has = [np.bincount(at, outcome == kind) > 0 for kind in (1, 0)]
    total = sum(
        _small_sample(int(there.sum())) * float(part @ part)
        for part, there in zip(sums, has, strict=True)
    )
    return total + 2 * _small_sample(len(sums[0])) * float(sums[0] @ sums[1])


def _small_sample(clusters: int) -> float:
    return clusters / (clusters - 1) if clusters > 1 else float("nan")
