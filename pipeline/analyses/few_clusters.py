"""Coefficients of a logistic model for few clinics: bias-reduced errors, or a wild bootstrap."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from scipy.special import stdtr

from analysis.arrays import FloatArray
from analysis.bias_reduced import bias_reduced
from analysis.design import DesignColumn
from analysis.logistic import LogisticFit
from analysis.wild_bootstrap import Signs, WildBootstrap, wild_bootstrap
from pipeline.analyses.effects import INTERCEPT, Effects, coefficient_rows
from pipeline.analyses.fitted import concerned
from pipeline.analyses.logistic_data import LogisticData
from pipeline.plan import Analysis
from shared.estimate import Estimate

REDUCED = "CR2"
WILD: Mapping[str, Signs] = {"wild_bootstrap": "rademacher", "wild_bootstrap_webb": "webb"}
FOR_FEW = (REDUCED, *WILD)


def refuse_for_few(analysis: Analysis) -> None:
    """Refuse what bias-reduced errors and the wild bootstrap do not go with.

    Raises
    ------
    ValueError
        Naming the key.
    """
    if analysis.variance not in FOR_FEW:
        return
    named = f'variance = "{analysis.variance}"'
    if analysis.cluster is None:
        raise ValueError(f"{named} needs a cluster")
    if analysis.estimator != "maximum_likelihood":
        raise ValueError(f'{named} needs estimator = "maximum_likelihood"')
    for key in ("weights", "interactions", "spline", "profiles"):
        if getattr(analysis, key):
            raise ValueError(f"{named} cannot be used with {key}")
    if analysis.missing_outcome == "observation_weights":
        raise ValueError(f"{named} cannot be used with observation weights")


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


def wild_rows(
    base: Estimate,
    columns: tuple[DesignColumn, ...],
    data: LogisticData,
    fit: LogisticFit,
    *,
    analysis: Analysis,
) -> list[Estimate]:
    """Give ratios and coefficients with limits and p of the wild bootstrap of cluster scores.

    An end that no value is refused at stays open; there is no standard error and no joint test.
    """
    found = wild_bootstrap(
        data.design.matrix, data.outcome, cluster=() if data.cluster is None else data.cluster,
        names=data.design.names, confidence=analysis.confidence,
        signs=WILD[analysis.variance or ""], seed=analysis.seed,
    )  # fmt: skip
    nothing = np.full(len(columns), np.nan)
    effects = Effects(
        columns=columns, estimate=fit.coefficients, std_error=nothing, df=None,
        **{name: _of_terms(found, name) for name in ("low", "high", "statistic", "p_value")},
    )  # fmt: skip
    if found is not None:
        how = f"all {found.vectors} vectors of signs" if found.enumerated else (
            f"{found.vectors} vectors drawn, seed {analysis.seed}"
        )  # fmt: skip
        base = replace(base, method=f"{base.method}: {how}")
    rows = coefficient_rows(base, effects, "odds_ratio")
    return [_open_ends(row) for row in rows]


def _of_terms(found: WildBootstrap | None, name: str) -> FloatArray:
    values = [] if found is None else [getattr(term, name) for term in found.terms]
    return np.array([np.nan, *values])  # none of the intercept


def _open_ends(row: Estimate) -> Estimate:
    """Say where few clusters leave a limit open."""
    is_open = row.estimate is not None and None in (row.low, row.high) and row.term != INTERCEPT
    return concerned(row, ("open_limit",) if is_open else ())
