"""Logistic regression with a random intercept for each animal or clinic."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, ndtri

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    column_names,
    finite_matrix,
    inverse,
    zero_one,
)
from analysis.chi_square import NO_TEST, Test, normal_quantile, wald_test
from analysis.fit_concerns import sparse_concerns, why_no_fit
from analysis.kernels.logistic import curvature_batch, fit_logistic_batch
from analysis.kernels.mixed import MarginalTop, clusters_differ, maximise_marginal
from analysis.kernels.quadrature import MixedRows, marginal_point, mixed_rows
from analysis.logistic import INTERCEPT
from analysis.profile import profile_limit
from analysis.rank import Redundant, find_redundant
from analysis.scaling import scaled_design
from analysis.separation import find_separation

POINTS = 25
FIRST_SPREAD = 0.7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedFit:
    """A fit of the log odds given the cluster; coefficients hold within a cluster.

    `spread` is the standard deviation of the clusters' log odds, with limits of its profile; nil
    where clusters lie no further apart than chance sets them: then the fit is the one without
    them. NaN where there is no fit.
    """

    names: tuple[str, ...]
    coefficients: FloatArray  # (p,), the intercept first
    covariance: FloatArray  # (p, p), of the observed information that includes the spread
    spread: float
    spread_low: float
    spread_high: float
    no_spread: Test  # likelihood ratio; p is half that of one degree of freedom
    log_likelihood: float
    wald: Test
    n: int
    events: int
    clusters: int
    points: int
    converged: bool
    redundant: tuple[Redundant, ...]
    separated: tuple[str, ...]
    concerns: tuple[str, ...]

    @property
    def latent_correlation(self) -> float:
        """Share of the variance of the log odds, a logistic error added, that clusters hold."""
        return self.spread**2 / (self.spread**2 + np.pi**2 / 3)

    @property
    def median_odds_ratio(self) -> float:
        """Median odds ratio between two rows alike but for their clusters, the riskier on top."""
        return float(np.exp(np.sqrt(2) * self.spread * ndtri(0.75)))


def fit_mixed_logistic(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    cluster: npt.ArrayLike,
    names: Sequence[str] = (),
    confidence: float = 0.95,
    points: int = POINTS,
) -> MixedFit:
    """Fit a logistic model whose intercept varies between clusters as a normal variable.

    Parameters
    ----------
    x, y
        Terms without the intercept, shape (n, q), and outcome 0 or 1, shape (n,).
    cluster
        Label of each row's cluster, shape (n,).
    points
        Points of the adaptive quadrature in each cluster; 1 is Laplace's approximation.

    Returns
    -------
    MixedFit
        No number where all clusters have one row, where a term separates, or where the search
        found no top: the concerns say which.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing or infinite, or `y` is not 0/1.

    Notes
    -----
    Newton's method on the marginal likelihood. R: ``lme4::glmer(y ~ x + (1 | cluster), binomial,
    nAGQ = 25)``; its log likelihood leaves out constants where nAGQ is above 1.

    References
    ----------
    .. [1] Pinheiro JC, Bates DM. J Comput Graph Stat 1995;4:12-35.
    .. [2] Self SG, Liang KY. J Am Stat Assoc 1987;82:605-610 (the test at the edge).
    .. [3] Larsen K, Merlo J. Am J Epidemiol 2005;161:81-88 (median odds ratio).
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    labels = column_names(names, matrix.shape[1])
    codes, clusters = cluster_codes(cluster, rows=len(matrix))
    root_target = normal_quantile(confidence)
    redundant = find_redundant(matrix, labels)
    nothing = replace(
        _nothing((INTERCEPT, *labels), outcome), clusters=clusters, points=points,
        redundant=redundant,
    )  # fmt: skip
    if redundant or int(outcome.sum()) in (0, len(outcome)):
        return replace(nothing, concerns=why_no_fit(redundant, outcome))
    if clusters == len(outcome):
        return replace(nothing, concerns=("one_row_a_cluster", "not_identified"))
    separated = tuple(item.name for item in find_separation(matrix, outcome, labels))
    if separated:
        concerns = ("separation", "not_identified")
        return replace(nothing, separated=separated, concerns=concerns)
    return _fit(nothing, matrix, outcome, codes, root_target)


def _fit(
    nothing: MixedFit, x: FloatArray, y: FloatArray, codes: IntArray, root_target: float
) -> MixedFit:
    z, back = scaled_design(x)
    rows, plain = mixed_rows(z, y, codes), fit_logistic_batch(z, y)
    beta = plain.coefficients[:, 0]
    if not plain.converged[0]:
        return replace(nothing, concerns=("not_converged",))
    top = _top(rows, beta, nothing.points)
    if not top.converged:
        return replace(nothing, concerns=("not_converged",))
    p = len(beta)
    regular = p + 1 if top.spread else p  # at the edge the spread has no information of its own
    covariance = inverse(top.point.information[:regular, :regular])[:p, :p]
    without = float(curvature_batch(z, y, plain.coefficients)[0][0])
    fall = max(2 * (top.point.log_likelihood - without), 0.0)
    low, high = _spread_limits(rows, top, nothing.points, (fall, root_target))
    concerns = sparse_concerns(nothing.events, nothing.n, p - 1, nothing.clusters)
    return replace(
        nothing,
        coefficients=back @ top.beta, covariance=back @ covariance @ back.T,
        spread=top.spread, spread_low=low, spread_high=high,
        no_spread=Test(statistic=fall, df=1, p_value=float(chdtrc(1, fall)) / 2 if fall else 1.0),
        log_likelihood=top.point.log_likelihood, wald=wald_test(top.beta[1:], covariance[1:, 1:]),
        converged=True, concerns=(*concerns, *(() if top.spread else ("no_spread",))),
    )  # fmt: skip


def _top(rows: MixedRows, beta: FloatArray, points: int) -> MarginalTop:
    """Climb from a first guess of the spread, unless clusters do not differ at all."""
    if clusters_differ(rows, beta):
        return maximise_marginal(rows, beta, FIRST_SPREAD, points=points)
    return MarginalTop(beta, 0.0, marginal_point(rows, beta, 0.0, points), converged=True)


def _spread_limits(
    rows: MixedRows, top: MarginalTop, points: int, settings: tuple[float, float]
) -> tuple[float, float]:
    """Profile the spread; the lower limit is nil where a fit without it falls less than asked."""
    fall, root_target = settings

    def drop(value: float) -> tuple[float, float]:
        held = maximise_marginal(rows, top.beta, value, points=points, held=True)
        if not held.converged:
            return float("nan"), float("nan")
        fallen = 2 * (top.point.log_likelihood - held.point.log_likelihood)
        return fallen, -2 * float(held.point.gradient[-1])

    error = 0.3
    if top.spread:
        error = float(np.sqrt(inverse(top.point.information)[-1, -1]))
    reach = root_target * error
    high = profile_limit(drop, top.spread, first_guess=top.spread + reach, root_target=root_target)
    low = 0.0
    if fall > root_target**2:
        guess = max(top.spread - reach, top.spread / 2)
        low = profile_limit(drop, top.spread, first_guess=guess, root_target=root_target)
    return low, high


def _nothing(names: tuple[str, ...], y: FloatArray) -> MixedFit:
    """Start a result that holds no number."""
    p, nan = len(names), float("nan")
    return MixedFit(
        names=names, coefficients=np.full(p, nan), covariance=np.full((p, p), nan), spread=nan,
        spread_low=nan, spread_high=nan, no_spread=NO_TEST, log_likelihood=nan, wald=NO_TEST,
        n=len(y), events=int(y.sum()), clusters=0, points=0, converged=False, redundant=(),
        separated=(), concerns=(),
    )  # fmt: skip
