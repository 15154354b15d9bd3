"""Profile limits of a Cox model in place of Wald's: plan key interval = "profile"."""

import numpy as np

from analysis.cox_profile import profile_cox
from analysis.cox_result import CoxFit
from analysis.design import Design
from pipeline.analyses.effects import Effects, wald_effects
from pipeline.plan import Analysis

PROFILE = "profile"


def cox_effects(analysis: Analysis, design: Design, fit: CoxFit) -> Effects:
    """Give coefficients with the limits the plan asks for.

    With profile limits goes the likelihood-ratio test of each coefficient, on one degree of
    freedom; both take rows as independent.
    """
    effects = wald_effects(
        design.columns, fit.coefficients, fit.covariance, confidence=analysis.confidence
    )
    if analysis.interval != PROFILE:
        return effects
    found = [profile_cox(fit, name, confidence=analysis.confidence) for name in fit.names]
    return Effects(
        columns=effects.columns, estimate=effects.estimate, std_error=effects.std_error,
        low=np.array([one.low for one in found]), high=np.array([one.high for one in found]),
        statistic=np.array([one.likelihood_ratio.statistic for one in found]), df=1.0,
        p_value=np.array([one.likelihood_ratio.p_value for one in found]),
    )  # fmt: skip
