"""The fit that answers a logistic analysis, with the covariances that its intervals rest on."""

from dataclasses import replace

from analysis.firth import FirthFit, fit_firth
from analysis.intercept_correction import corrected_intercept
from analysis.larger_errors import CautiousFit
from analysis.logistic import fit_logistic
from analysis.penalised_variance import robust_firth
from pipeline.analyses.logistic_data import LogisticData
from pipeline.plan import Analysis
from pipeline.plan_keys import LARGER

CORRECTED = "corrected"


def takes_larger(analysis: Analysis, *, penalised: bool) -> bool:
    """Say whether errors are the larger of robust and model-based ones.

    Where the plan does not say, those of a penalised fit are: with few events robust errors alone
    keep less than 93 % (``tests/benchmarks/test_bench_binary_coverage.py``).
    """
    if analysis.cluster is None:
        return False
    return penalised if analysis.variance is None else analysis.variance == LARGER


def primary_fit(
    analysis: Analysis, data: LogisticData, *, penalised: bool, of_risks: bool = False
) -> CautiousFit:
    """Fit by maximum likelihood, or Firth's; errors robust by cluster where there is one.

    A fit `of_risks` has its intercept corrected where the plan asks for that.
    """
    design = data.design
    if penalised:
        fit = fit_firth(
            design.matrix, data.outcome, weights=data.used, confidence=analysis.confidence,
            names=design.names, limits_for=(),
        )  # fmt: skip
        if of_risks and analysis.intercept == CORRECTED:
            fit = corrected_intercept(fit, design.matrix, data.outcome, weights=data.used)
        return _with_clusters(fit, analysis, data)
    likely = fit_logistic(
        design.matrix, data.outcome, weights=data.used, cluster=data.cluster, names=design.names
    )
    more = (likely.covariance_model,) if takes_larger(analysis, penalised=False) else ()
    return CautiousFit(fit=likely, covariances=(likely.covariance, *more))


def _with_clusters(fit: FirthFit, analysis: Analysis, data: LogisticData) -> CautiousFit:
    """Give Firth's fit the cluster-robust covariance of its scores (CR1), the model's beside it."""
    if data.cluster is None or not fit.converged:
        return CautiousFit(fit=fit, covariances=(fit.covariance,))
    robust = robust_firth(
        fit, data.design.matrix, data.outcome, cluster=data.cluster, weights=data.used
    )
    more = (fit.covariance,) if takes_larger(analysis, penalised=True) else ()
    return CautiousFit(
        fit=replace(fit, covariance=robust.covariance), covariances=(robust.covariance, *more)
    )
