"""Logistic regression by estimating equations: rows of a cluster alike to the same degree."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    column_names,
    finite_matrix,
    zero_one,
)
from analysis.chi_square import NO_TEST, Test, wald_test
from analysis.fit_concerns import FEW_CLUSTERS, sparse_concerns, why_no_fit
from analysis.logistic import INTERCEPT
from analysis.rank import Redundant, find_redundant
from analysis.scaling import scaled_design
from analysis.separation import find_separation

Errors = Literal["robust", "bias_reduced"]
MAX_STEPS = 200
LARGEST_CLUSTER = 2_000  # bias-reduced errors solve a matrix of this size for each cluster


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GeeFit:
    """Coefficients are log odds ratios between average rows, the intercept first.

    `df` is that of a t reference, clusters less coefficients, where the errors are bias-reduced;
    None where a normal one is meant. NaN where there is no fit.
    """

    names: tuple[str, ...]
    coefficients: FloatArray  # (p,)
    covariance: FloatArray  # (p, p), sandwich
    correlation: float  # of two outcomes of a cluster, given the terms
    errors: Errors
    df: float | None
    wald: Test
    n: int
    events: int
    clusters: int
    converged: bool
    redundant: tuple[Redundant, ...]
    separated: tuple[str, ...]
    concerns: tuple[str, ...]


def fit_gee_logistic(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    cluster: npt.ArrayLike,
    names: Sequence[str] = (),
    errors: Errors | None = None,
) -> GeeFit:
    """Fit a logistic model by generalised estimating equations, exchangeable within clusters.

    Parameters
    ----------
    x, y
        Terms without the intercept, shape (n, q), and outcome 0 or 1, shape (n,).
    cluster
        Label of each row's cluster, shape (n,).
    errors
        "robust" is the sandwich without a factor (as R gee and geepack); "bias_reduced" that of
        Mancl and DeRouen [2]_. Left out: bias-reduced below 40 clusters of at most 2,000 rows.

    Returns
    -------
    GeeFit
        No number where there are no more pairs within clusters than coefficients, where a term
        separates, or where the equations did not settle: the concerns say which.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing or infinite, or `y` is not 0/1.

    Notes
    -----
    The equations are solved by statsmodels, the scale held at 1; the correlation is the moment
    estimate with the number of coefficients taken off the pairs, as in R ``gee``; ``geepack``
    does not take it off.

    References
    ----------
    .. [1] Liang KY, Zeger SL. Biometrika 1986;73:13-22.
    .. [2] Mancl LA, DeRouen TA. Biometrics 2001;57:126-134.
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    labels = column_names(names, matrix.shape[1])
    codes, clusters = cluster_codes(cluster, rows=len(matrix))
    redundant = find_redundant(matrix, labels)
    nothing = replace(
        _nothing((INTERCEPT, *labels), outcome), clusters=clusters, redundant=redundant,
        errors=errors or _default_errors(codes, clusters),
    )  # fmt: skip
    if redundant or int(outcome.sum()) in (0, len(outcome)):
        return replace(nothing, concerns=why_no_fit(redundant, outcome))
    sizes = np.bincount(codes)
    if int((sizes * (sizes - 1) // 2).sum()) <= len(nothing.names):
        return replace(nothing, concerns=("one_row_a_cluster", "not_identified"))
    separated = tuple(item.name for item in find_separation(matrix, outcome, labels))
    if separated:
        concerns = ("separation", "not_identified")
        return replace(nothing, separated=separated, concerns=concerns)
    return _fit(nothing, matrix, outcome, codes)


def _fit(nothing: GeeFit, x: FloatArray, y: FloatArray, codes: IntArray) -> GeeFit:
    z, back = scaled_design(x)
    found = _solved(z, y, codes, nothing.errors)
    if found is None:
        return replace(nothing, concerns=("not_converged",))
    beta, covariance, correlation = found
    p = len(beta)
    reduced = nothing.errors == "bias_reduced"
    return replace(
        nothing,
        coefficients=back @ beta, covariance=back @ covariance @ back.T, correlation=correlation,
        df=float(nothing.clusters - p) if reduced and nothing.clusters > p else None,
        wald=wald_test(beta[1:], covariance[1:, 1:]), converged=True,
        concerns=sparse_concerns(nothing.events, nothing.n, p - 1, nothing.clusters),
    )  # fmt: skip


def _solved(
    z: FloatArray, y: FloatArray, codes: IntArray, errors: Errors
) -> tuple[FloatArray, FloatArray, float] | None:
    """Solve the equations; None where they did not settle. Nothing reaches the console."""
    from statsmodels.genmod.cov_struct import Exchangeable  # slow to import
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_estimating_equations import GEE

    likeness = Exchangeable()
    model = GEE(y, z, groups=codes, family=Binomial(), cov_struct=likeness)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            fit: Any = model.fit(maxiter=MAX_STEPS, ctol=1e-10, cov_type=errors)
        except (np.linalg.LinAlgError, ValueError):
            return None
    beta, covariance = np.asarray(fit.params), np.asarray(fit.cov_params())
    settled = bool(fit.converged) and bool(np.isfinite(beta).all())
    if not settled or not np.isfinite(covariance).all():
        return None
    return beta, covariance, float(likeness.dep_params)


def _default_errors(codes: IntArray, clusters: int) -> Errors:
    few = clusters < FEW_CLUSTERS and int(np.bincount(codes).max()) <= LARGEST_CLUSTER
    return "bias_reduced" if few else "robust"


def _nothing(names: tuple[str, ...], y: FloatArray) -> GeeFit:
    """Start a result that holds no number."""
    p, nan = len(names), float("nan")
    return GeeFit(
        names=names, coefficients=np.full(p, nan), covariance=np.full((p, p), nan),
        correlation=nan, errors="robust", df=None, wald=NO_TEST, n=len(y), events=int(y.sum()),
        clusters=0, converged=False, redundant=(), separated=(), concerns=(),
    )  # fmt: skip
