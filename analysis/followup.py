"""How complete is follow-up? Time seen against the time that could have been seen."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, cluster_codes, non_negative, zero_one
from analysis.chi_square import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class Completeness:
    """Share of the possible time that was seen; NaN where no time was possible."""

    estimate: float
    low: float
    high: float
    std_error: float
    seen_days: float
    possible_days: float
    n: int
    clusters: int
    confidence: float


def completeness_index(
    followed: npt.ArrayLike,
    possible: npt.ArrayLike,
    ended: npt.ArrayLike,
    *,
    cluster: npt.ArrayLike | None = None,
    horizon: float | None = None,
    confidence: float = 0.95,
) -> Completeness:
    """Give Clark's C: days seen over days that could have been seen.

    Parameters
    ----------
    followed
        Days each row was followed, shape (n,).
    possible
        Days to the end of the study; a row followed longer was seen as long as it was followed.
    ended
        1 where an event ended the follow-up: nothing more could have been seen then.
    cluster
        Label of each row's cluster, for the limits; each row its own by default.
    horizon
        Last day that counts; all days by default.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing or a day is negative.

    Notes
    -----
    The limits are not in [1]_: the variance is that of a ratio of two sums over clusters [2]_,
    G / (G - 1) sum (seen_g - C possible_g)^2 / possible^2, and the limits are symmetric on the
    scale of log(C / (1 - C)). All or nothing seen, or one cluster: no limits.
    C is too low where events among the lost would have ended their time earlier [3]_.

    References
    ----------
    .. [1] Clark TG, Altman DG, De Stavola BL. Lancet 2002;359:1309-1310.
    .. [2] Cochran WG. Sampling Techniques, 3rd ed. Wiley 1977, chapter 6.
    .. [3] Wu Y, Takkenberg JJM, Grunkemeier GL. Ann Thorac Surg 2008;85:1155-1157.
    """
    seen = non_negative(followed, "followed")
    n = len(seen)
    whole = np.maximum(non_negative(possible, "possible", rows=n), seen)
    limit = np.inf if horizon is None else float(horizon)
    done = (zero_one(ended, "ended", rows=n) == 1) & (seen <= limit)
    seen = np.minimum(seen, limit)
    whole = np.where(done, seen, np.minimum(whole, limit))
    labels = np.arange(n) if cluster is None else np.asarray(cluster)
    codes, clusters = cluster_codes(labels, rows=n)
    total = float(whole.sum())
    share = float(seen.sum()) / total if total else float("nan")
    error = _error(seen - share * whole, codes, clusters) / total if total else float("nan")
    low, high = _limits(share, error, normal_quantile(confidence))
    return Completeness(
        estimate=share, low=low, high=high, std_error=error, seen_days=float(seen.sum()),
        possible_days=total, n=n, clusters=clusters, confidence=confidence,
    )  # fmt: skip


def _error(gap: FloatArray, codes: npt.NDArray[np.int64], clusters: int) -> float:
    if clusters < 2:
        return float("nan")
    sums = np.bincount(codes, gap, clusters)
    return float(np.sqrt(clusters / (clusters - 1) * (sums @ sums)))


def _limits(share: float, error: float, z: float) -> tuple[float, float]:
    if not (0 < share < 1) or not np.isfinite(error):
        return float("nan"), float("nan")
    middle, half = np.log(share / (1 - share)), z * error / (share * (1 - share))
    low, high = (1 / (1 + np.exp(-(middle + side * half))) for side in (-1, 1))
    return float(low), float(high)
