"""Cox regression with a gamma frailty that the rows of a cluster share."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import cast

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import chdtrc

from analysis.arrays import FloatArray, IntArray, cluster_codes
from analysis.chi_square import NO_TEST, Test, normal_quantile, wald_test
from analysis.cox import fit_cox
from analysis.cox_result import CoxFit
from analysis.fit_concerns import event_concerns
from analysis.kernels.cox import Ties
from analysis.kernels.frailty import (
    FrailtyPoint,
    FrailtyRows,
    frailty_point,
    frailty_rows,
    marginal_curvature,
)
from analysis.profile import profile_limit
from analysis.rank import Redundant

LEAST = 1e-5  # a variance below it is nil
GRID = (LEAST, 0.05, 0.2, 0.8, 3.2, 12.8)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrailtyFit:
    """A fit of the hazard given the cluster; coefficients hold within a cluster.

    `variance` is that of the frailties, with limits of its profile; nil where clusters lie no
    further apart than chance sets them: then the fit is the one without them.
    """

    names: tuple[str, ...]
    coefficients: FloatArray  # (p,)
    covariance: FloatArray  # (p, p), the variance of the frailties being estimated too
    covariance_held: FloatArray  # (p, p), as if that variance were known
    variance: float
    variance_low: float
    variance_high: float
    no_variance: Test  # likelihood ratio; p is half that of one degree of freedom
    frailties: FloatArray  # by cluster, in sorted order of the labels; their mean is 1
    log_likelihood: float  # the frailties integrated out
    log_likelihood_without: float  # of the same terms without frailties
    wald: Test
    n: int
    events: int
    clusters: int
    ties: Ties
    converged: bool
    redundant: tuple[Redundant, ...]
    separated: tuple[str, ...]
    concerns: tuple[str, ...]

    @property
    def rank_correlation(self) -> float:
        """Kendall's tau of the times of two rows of a cluster, the terms alike."""
        return self.variance / (self.variance + 2)


def fit_frailty(  # noqa: PLR0913 - the parts of the model, each by name
    x: npt.ArrayLike,
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    cluster: npt.ArrayLike,
    entry: npt.ArrayLike | None = None,
    strata: npt.ArrayLike | None = None,
    ties: Ties = "efron",
    names: Sequence[str] = (),
    confidence: float = 0.95,
) -> FrailtyFit:
    """Fit a Cox model whose hazard is multiplied by a gamma variable of each cluster.

    Parameters
    ----------
    x, time, event, strata, ties, names
        As for ``fit_cox``.
    cluster
        Label of each row's cluster, shape (n,).
    entry
        For rows that continue another of their cluster (terms that change with time). Late entry
        proper would need the frailties of those that came so far, which this does not give.
    confidence
        Of the limits of the variance of the frailties.

    Returns
    -------
    FrailtyFit
        No number where all clusters have one row, a term separates, or the search found no top:
        the concerns say which.

    Raises
    ------
    ValueError
        If the data are refused as by ``fit_cox``.

    Notes
    -----
    The marginal likelihood is profiled over the variance: at each value the penalised partial
    likelihood [1]_ [2]_ gives terms and frailties, and the slope over the variance is exact, so
    its zero is found, not the highest of a grid. R: ``coxph(... + frailty(cluster))``, which
    stops its search early and takes the variance as known in its standard errors
    (`covariance_held`, there by a sparse approximation).

    References
    ----------
    .. [1] Therneau TM, Grambsch PM, Pankratz VS. J Comput Graph Stat 2003;12:156-175.
    .. [2] Nielsen GG, Gill RD, Andersen PK, Sorensen TIA. Scand J Stat 1992;19:25-43.
    .. [3] Self SG, Liang KY. J Am Stat Assoc 1987;82:605-610 (the test at the edge).
    """
    plain = fit_cox(
        x, time, event, entry=entry, strata=strata, ties=ties, names=names, concordance=False
    )
    codes, clusters = cluster_codes(cluster, rows=plain.n)
    nothing = _nothing(plain, clusters)
    if not plain.converged or plain.separated:
        reasons = (*plain.concerns, *(("not_identified",) if plain.separated else ()))
        return replace(nothing, concerns=tuple(dict.fromkeys(reasons)))
    if clusters == plain.n:
        return replace(nothing, concerns=("one_row_a_cluster", "not_identified"))
    rows = frailty_rows(plain.data, codes, ties)
    start = np.concatenate((plain.scaled_coefficients[:, 0], np.zeros(len(rows.events))))
    top = _top(rows, start, plain.log_likelihood)
    concerns = event_concerns(plain.events, len(plain.names), clusters, ())
    nothing = replace(nothing, concerns=concerns)
    root_target = normal_quantile(confidence)
    if top is None:
        return _without(nothing, plain, rows, (start, root_target))
    if not top.converged:
        return replace(nothing, concerns=("not_converged",))
    return _with(nothing, plain, (rows, codes), (top, root_target))


def _top(rows: FrailtyRows, start: FloatArray, without: float) -> FrailtyPoint | None:
    """Find where the marginal likelihood is highest; None where that is at no variance."""
    points: list[FrailtyPoint] = []
    for variance in GRID:
        points.append(frailty_point(rows, variance, points[-1].at if points else start))
    if points[-1].slope < 0:  # over nu: it still rises with the variance
        return replace(points[-1], converged=False)
    tops = [
        _zero_of_slope(rows, low, high)
        for low, high in pairwise(points)
        if low.slope < 0 <= high.slope
    ]
    higher = [top for top in tops if top.log_likelihood > without]
    return max(higher, key=lambda top: top.log_likelihood, default=None)


def _zero_of_slope(rows: FrailtyRows, low: FrailtyPoint, high: FrailtyPoint) -> FrailtyPoint:
    def slope(log_variance: float) -> float:
        return frailty_point(rows, float(np.exp(log_variance)), low.at).slope

    ends = float(np.log(low.variance)), float(np.log(high.variance))
    found = float(cast("float", brentq(slope, *ends, xtol=1e-13)))
    return frailty_point(rows, float(np.exp(found)), low.at)


def _with(
    nothing: FrailtyFit,
    plain: CoxFit,
    placed: tuple[FrailtyRows, IntArray],
    found: tuple[FrailtyPoint, float],
) -> FrailtyFit:
    (rows, codes), (top, root_target) = placed, found
    p, scale = len(plain.names), plain.data.scale
    inverse, drift, bend = marginal_curvature(rows, top)
    held, drift = inverse / np.outer(scale, scale), drift / scale
    covariance = held + np.outer(drift, drift) / -bend
    coefficients = top.at[:p] / scale
    frailties = np.ones(nothing.clusters)
    frailties[np.unique(codes[plain.data.rows])] = np.exp(top.at[p:])
    fall = 2 * (top.log_likelihood - plain.log_likelihood)
    error = top.variance / float(np.sqrt(-bend))  # of the log of the variance
    low, high = _limits(rows, top, (fall, root_target), reach=root_target * error)
    return replace(
        nothing, coefficients=coefficients, covariance=covariance, covariance_held=held,
        variance=top.variance, variance_low=low, variance_high=high,
        no_variance=Test(statistic=fall, df=1, p_value=float(chdtrc(1, fall)) / 2),
        frailties=frailties, log_likelihood=top.log_likelihood,
        wald=wald_test(coefficients, covariance), converged=True,
    )  # fmt: skip


def _without(
    nothing: FrailtyFit, plain: CoxFit, rows: FrailtyRows, found: tuple[FloatArray, float]
) -> FrailtyFit:
    """Give the plain fit; the upper limit is where the marginal likelihood has fallen enough."""
    start, root_target = found

    def drop(variance: float) -> tuple[float, float]:
        point = frailty_point(rows, variance, start)
        fallen = 2 * (plain.log_likelihood - point.log_likelihood)
        return fallen, 2 * point.slope / variance**2

    return replace(
        nothing, coefficients=plain.coefficients, covariance=plain.covariance_model,
        covariance_held=plain.covariance_model, variance=0.0, variance_low=0.0,
        variance_high=profile_limit(drop, 0.0, first_guess=0.3, root_target=root_target),
        no_variance=Test(statistic=0.0, df=1, p_value=1.0), frailties=np.ones(nothing.clusters),
        log_likelihood=plain.log_likelihood, wald=plain.wald, converged=True,
        concerns=(*nothing.concerns, "no_spread"),
    )  # fmt: skip


def _limits(
    rows: FrailtyRows, top: FrailtyPoint, heights: tuple[float, float], *, reach: float
) -> tuple[float, float]:
    """Profile the log of the variance; the lower limit is nil where none falls less than asked."""

    def drop(log_variance: float) -> tuple[float, float]:
        point = frailty_point(rows, float(np.exp(log_variance)), top.at)
        fallen = 2 * (top.log_likelihood - point.log_likelihood)
        return fallen, 2 * point.slope / point.variance

    (fall, root_target), middle = heights, float(np.log(top.variance))
    low, high = (
        float(np.exp(profile_limit(drop, middle, first_guess=guess, root_target=root_target)))
        if wanted
        else 0.0
        for guess, wanted in ((middle - reach, fall > root_target**2), (middle + reach, True))
    )
    return low, high


def _nothing(plain: CoxFit, clusters: int) -> FrailtyFit:
    """Start a result that holds no number."""
    p, nan = len(plain.names), float("nan")
    empty = np.full((p, p), nan)
    return FrailtyFit(
        names=plain.names, coefficients=np.full(p, nan), covariance=empty, covariance_held=empty,
        variance=nan, variance_low=nan, variance_high=nan, no_variance=NO_TEST,
        frailties=np.full(clusters, nan), log_likelihood=nan,
        log_likelihood_without=plain.log_likelihood, wald=NO_TEST, n=plain.n,
        events=plain.events, clusters=clusters, ties=plain.ties, converged=False,
        redundant=plain.redundant, separated=plain.separated, concerns=(),
    )  # fmt: skip
