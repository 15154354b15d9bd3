"""What a fitted Cox model is: its numbers, and the rows they came from."""

from dataclasses import dataclass, field

import numpy as np

from analysis.arrays import FloatArray
from analysis.chi_square import Test, wald_limits
from analysis.cox_rows import CoxRows
from analysis.kernels.cox import CoxData, Ties
from analysis.rank import Redundant


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoxFit:
    """A fitted Cox model; coefficients are log hazard ratios.

    A term that is not identified (`separated`, or all of them where `converged` is false) holds
    NaN, and `concerns` says why.
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
    robust_score: Test  # from score residuals by cluster; NaN without clusters
    concordance: float  # Harrell's; NaN where it was not asked for
    n: int  # rows with a weight above zero
    events: int
    clusters: int | None
    ties: Ties
    converged: bool
    iterations: int
    separated: tuple[str, ...]  # terms whose estimate runs to infinity
    redundant: tuple[Redundant, ...]
    concerns: tuple[str, ...]
    rows: CoxRows = field(repr=False)
    data: CoxData = field(repr=False)

    @property
    def std_errors(self) -> FloatArray:
        """Standard errors of the coefficients, cluster-robust where clusters were given."""
        return np.sqrt(np.diag(self.covariance))

    def limits(self, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
        """Wald limits of the coefficients on the log hazard scale."""
        return wald_limits(self.coefficients, self.std_errors, confidence)

    @property
    def scaled_coefficients(self) -> FloatArray:
        """Coefficients in the units of ``data.x``, shape (p, 1)."""
        return (self.coefficients * self.data.scale)[:, None]

    @property
    def weights_at_risk(self) -> FloatArray | None:
        """Case weights of the rows of `data`, shape (m, 1)."""
        weights = self.rows.weights
        return None if weights is None else weights[self.data.rows][:, None]
