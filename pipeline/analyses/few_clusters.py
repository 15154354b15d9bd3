"""Coefficients of a logistic model with bias-reduced errors: for few clinics, or few animals."""

import numpy as np
from scipy.special import stdtr

from analysis.bias_reduced import bias_reduced
from analysis.design import DesignColumn
from analysis.logistic import LogisticFit
from pipeline.analyses.effects import Effects, coefficient_rows
from pipeline.analyses.logistic_data import LogisticData
from pipeline.plan import Analysis
from shared.estimate import Estimate

REDUCED = "CR2"


def refuse_reduced(analysis: Analysis) -> None:
    """Refuse what bias-reduced errors do not go with.

    Raises
    ------
    ValueError
        Naming the key.
    """
    if analysis.variance != REDUCED:
        return
    if analysis.cluster is None:
        raise ValueError('variance = "CR2" needs a cluster')
    if analysis.estimator != "maximum_likelihood":
        raise ValueError('variance = "CR2" needs estimator = "maximum_likelihood"')
    for key in ("weights", "interactions", "spline", "profiles"):
        if getattr(analysis, key):
            raise ValueError(f'variance = "CR2" cannot be used with {key}')
    if analysis.missing_outcome == "observation_weights":
        raise ValueError('variance = "CR2" cannot be used with observation weights')


def reduced_rows(
    base: Estimate, columns: tuple[DesignColumn, ...], data: LogisticData, fit: LogisticFit
) -> list[Estimate]:
    """Give ratios and coefficients with t limits, each with degrees of freedom of its own.

    A coefficient of which the clusters tell nothing has no number.

    There is no joint test: its chi-square is too small a hurdle with few clusters.
    """
    clusters = () if data.cluster is None else data.cluster
    found = bias_reduced(fit, data.design.matrix, data.outcome, cluster=clusters)
    estimate = np.where(np.isfinite(found.df), fit.coefficients, np.nan)
    error = np.sqrt(np.diag(found.covariance))
    half = found.half_widths(base.confidence or 0.95)
    t = estimate / error
    effects = Effects(
        columns=columns, estimate=estimate, std_error=error,
        low=estimate - half, high=estimate + half, statistic=t, df=found.df,
        p_value=2 * np.asarray(stdtr(found.df, -np.abs(t)), dtype=np.float64),
    )  # fmt: skip
    silent = {
        column.term: ("not_identified",)
        for column, df in zip(columns, found.df, strict=True) if not np.isfinite(df)
    }  # fmt: skip
    return coefficient_rows(base, effects, "odds_ratio", concerns=silent)
