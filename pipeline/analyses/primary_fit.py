"""The fit that answers a logistic analysis, with the covariance that its intervals rest on."""

from dataclasses import replace

from analysis.firth import FirthFit, fit_firth
from analysis.logistic import LogisticFit, fit_logistic
from analysis.penalised_variance import robust_firth
from pipeline.analyses.logistic_data import LogisticData


def primary_fit(
    data: LogisticData, *, penalised: bool, confidence: float
) -> LogisticFit | FirthFit:
    """Fit by maximum likelihood, or Firth's; errors robust by cluster where there is one."""
    design = data.design
    if penalised:
        fit = fit_firth(
            design.matrix, data.outcome, weights=data.used, confidence=confidence,
            names=design.names, limits_for=(),
        )  # fmt: skip
        return with_clusters(fit, data)
    return fit_logistic(
        design.matrix, data.outcome, weights=data.used, cluster=data.cluster, names=design.names
    )


def with_clusters(fit: FirthFit, data: LogisticData) -> FirthFit:
    """Give Firth's fit the cluster-robust covariance of its scores (CR1)."""
    if data.cluster is None or not fit.converged:
        return fit
    robust = robust_firth(
        fit, data.design.matrix, data.outcome, cluster=data.cluster, weights=data.used
    )
    return replace(fit, covariance=robust.covariance)
