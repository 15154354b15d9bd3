"""Logistic regression: maximum likelihood, cluster-robust variance, three global tests."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    column_names,
    finite_matrix,
    inverse,
    non_negative,
    zero_one,
)
from analysis.chi_square import NO_TEST, Test, chi_square_test, wald_limits, wald_test
from analysis.fit_concerns import sparse_concerns, why_no_fit
from analysis.kernels.logistic import curvature_batch, fit_logistic_batch, fitted_risks
from analysis.rank import Redundant, find_redundant
from analysis.sandwich import Correction, cluster_sandwich
from analysis.scaling import scaled_design

INTERCEPT = "intercept"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogisticFit:
    """A fitted logistic model; coefficients are log odds ratios, the intercept first.

    Where `converged` is false every coefficient and variance is NaN and `concerns` says why.
    """

    names: tuple[str, ...]
    coefficients: FloatArray  # (p,)
    covariance_model: FloatArray  # (p, p), inverse information
    covariance: FloatArray  # (p, p), cluster-robust where clusters were given
    log_likelihood: float
    log_likelihood_null: float
    likelihood_ratio: Test
    score: Test
    wald: Test  # from `covariance`
    n: int  # rows with a weight above zero
    events: int
    clusters: int | None
    correction: Correction | None
    converged: bool
    iterations: int
    redundant: tuple[Redundant, ...]
    concerns: tuple[str, ...]

    @property
    def std_errors(self) -> FloatArray:
        """Standard errors of the coefficients, cluster-robust where clusters were given."""
        return np.sqrt(np.diag(self.covariance))

    def limits(self, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
        """Wald limits of the coefficients on the log odds scale."""
        return wald_limits(self.coefficients, self.std_errors, confidence)


def fit_logistic(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    cluster: npt.ArrayLike | None = None,
    correction: Correction = "CR1",
    names: Sequence[str] = (),
    intercept: bool = True,
) -> LogisticFit:
    """Fit a logistic model by maximum likelihood.

    Parameters
    ----------
    x
        Terms without the intercept, shape (n, q); uncentred columns such as a year are safe.
    y
        Outcome, 0 or 1, shape (n,).
    weights
        Case weights >= 0, shape (n,). Weights from a model are taken as known.
    cluster
        Label of each row's cluster, shape (n,); then `covariance` is the sandwich.
    correction
        "CR0" is the sandwich alone (generalised estimating equations with independence);
        "CR1" multiplies it by G / (G - 1) * (n - 1) / (n - p), as Stata and statsmodels do.
    names
        One name a column of `x`.

    Returns
    -------
    LogisticFit
        With no, or only, events, or with a column that is constant or determined by others,
        the fit holds no number and names the reason in `concerns` and `redundant`.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing or infinite, `y` is not 0/1, a weight is negative
        or no weight is above zero.

    Notes
    -----
    Variables are centred and scaled inside and the results transformed back. Several rows of a
    cluster enter the likelihood as independent: the likelihood-ratio and score tests do so too,
    the Wald test uses the sandwich. R: ``glm(y ~ x, binomial)``; ``sandwich::vcovCL``.

    References
    ----------
    .. [1] Hosmer DW, Lemeshow S. Applied Logistic Regression, 2nd ed. Wiley 2000.
    .. [2] Liang KY, Zeger SL. Biometrika 1986;73:13-22.
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    labels = column_names(names, matrix.shape[1])
    w = None if weights is None else non_negative(weights, "weights", rows=len(matrix))
    codes = None if cluster is None else cluster_codes(cluster, rows=len(matrix))[0]
    if w is not None and not w.any():
        raise ValueError("weights must be above zero in at least one row")
    if w is not None and not w.all():
        used = w > 0
        matrix, outcome, w = matrix[used], outcome[used], w[used]
        codes = None if codes is None else codes[used]
    model = _Model(matrix, outcome, w, intercept)
    redundant = find_redundant(matrix, labels, intercept=intercept)
    all_names = (INTERCEPT, *labels) if intercept else labels
    events = int(outcome.sum())
    if redundant or events in (0, len(outcome)):
        return _no_fit(all_names, outcome, redundant)
    return _fit(model, all_names, codes, correction)


@dataclass(frozen=True, slots=True, eq=False)
class _Model:
    """Checked data."""

    x: FloatArray
    y: FloatArray
    weights: FloatArray | None
    intercept: bool

    @property
    def column_of_weights(self) -> FloatArray | None:
        return None if self.weights is None else self.weights[:, None]


def _fit(
    model: _Model,
    names: tuple[str, ...],
    codes: IntArray | None,
    correction: Correction,
) -> LogisticFit:
    z, back = scaled_design(model.x, intercept=model.intercept)
    w = model.column_of_weights
    batch = fit_logistic_batch(z, model.y, w)
    if not batch.converged[0]:
        return _no_fit(names, model.y, (), iterations=batch.steps)
    gamma = batch.coefficients[:, 0]
    log_likelihood, information = curvature_batch(z, model.y, batch.coefficients, w)
    bread = inverse(information[:, :, 0])
    clusters, robust = None, bread
    if codes is not None:
        residual = model.y - fitted_risks(z @ gamma)
        if model.weights is not None:
            residual *= model.weights
        robust, clusters = cluster_sandwich(z, residual, bread, codes=codes, correction=correction)
    null, score = _null_and_score(model, z)
    tested = slice(1 if model.intercept else 0, None)
    n_tested = len(gamma) - (1 if model.intercept else 0)
    events = int(model.y.sum())
    return LogisticFit(
        names=names,
        coefficients=back @ gamma,
        covariance_model=back @ bread @ back.T,
        covariance=back @ robust @ back.T,
        log_likelihood=float(log_likelihood[0]),
        log_likelihood_null=null,
        likelihood_ratio=chi_square_test(2 * (float(log_likelihood[0]) - null), n_tested),
        score=score,
        wald=wald_test(gamma[tested], robust[tested, tested]),
        n=len(model.y),
        events=events,
        clusters=clusters,
        correction=None if codes is None else correction,
        converged=True,
        iterations=batch.steps,
        redundant=(),
        concerns=sparse_concerns(events, len(model.y), n_tested, clusters),
    )


def _null_and_score(model: _Model, z: FloatArray) -> tuple[float, Test]:
    """Log likelihood without terms, and Rao's score test of all terms."""
    start = np.zeros((z.shape[1], 1))
    if model.intercept:
        share = float(np.average(model.y, weights=model.weights))
        start[0, 0] = np.log(share / (1 - share))
    null, information = curvature_batch(z, model.y, start, model.column_of_weights)
    residual = model.y - fitted_risks(z @ start[:, 0])
    gradient = z.T @ (residual if model.weights is None else model.weights * residual)
    statistic = float(gradient @ np.linalg.solve(information[:, :, 0], gradient))
    return float(null[0]), chi_square_test(statistic, z.shape[1] - int(model.intercept))


def _no_fit(
    names: tuple[str, ...],
    y: FloatArray,
    redundant: tuple[Redundant, ...],
    *,
    iterations: int = 0,
) -> LogisticFit:
    p, nan = len(names), float("nan")
    return LogisticFit(
        names=names,
        coefficients=np.full(p, nan),
        covariance_model=np.full((p, p), nan),
        covariance=np.full((p, p), nan),
        log_likelihood=nan,
        log_likelihood_null=nan,
        likelihood_ratio=NO_TEST,
        score=NO_TEST,
        wald=NO_TEST,
        n=len(y),
        events=int(y.sum()),
        clusters=None,
        correction=None,
        converged=False,
        iterations=iterations,
        redundant=redundant,
        concerns=why_no_fit(redundant, y),
    )
