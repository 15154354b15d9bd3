"""Rows of Firth's fits, logistic or Cox: robust limits by cluster, profile limits without.

A robust variance counts on the shape of the likelihood at its top; where a term separates there
is none to count on, so that the limits of that term profile the penalised likelihood instead, and
say that they ignore clusters.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.arrays import FloatArray
from analysis.design import DesignColumn
from analysis.firth import FirthFit
from analysis.firth_cox import FirthCoxFit
from analysis.larger_errors import cautious_wald, larger_errors
from analysis.penalised_variance import ClusterVariance
from pipeline.analyses.effects import (
    INTERCEPT,
    Effects,
    coefficient_rows,
    term_tests,
    wald_effects,
)
from pipeline.analyses.fitted import concerned, number_row, row_of_test
from pipeline.plan import Analysis
from shared.estimate import Estimate

FEW_CLUSTERS = 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Penalised:
    """A penalised fit and what its rows need.

    `errors` says of what kind the robust errors are; `ignored` are the concerns of rows that
    take clusters as independent; `broken` those of single terms. With `larger` each number takes
    the larger of robust and model-based errors.
    """

    columns: tuple[DesignColumn, ...]
    fit: FirthFit | FirthCoxFit
    robust: ClusterVariance | None
    errors: str
    separated: tuple[str, ...]
    ignored: tuple[str, ...]
    broken: Mapping[str, tuple[str, ...]] = field(default_factory=dict[str, tuple[str, ...]])
    larger: bool = False
    single: bool = False  # whether terms of one column have a row for their Wald test too

    @property
    def covariances(self) -> tuple[FloatArray, ...]:
        """Give the covariances that errors come from."""
        if self.robust is None:
            return (self.fit.covariance,)
        return (self.robust.covariance, *((self.fit.covariance,) if self.larger else ()))


def limits_asked(
    analysis: Analysis, columns: Sequence[DesignColumn], separated: tuple[str, ...]
) -> list[str] | None:
    """Name the terms whose penalised likelihood is profiled; None: all.

    Profiles take long, and what an exposure is adjusted for is not there to be read.
    """
    if analysis.cluster is not None:
        return [column.name for column in columns if column.name in separated]
    return [column.name for column in columns if column.term == analysis.exposure] or None


def penalised_rows(
    base: Estimate, analysis: Analysis, found: Penalised, *, ratio: str, likelihood: str
) -> list[Estimate]:
    """Give the rows of a penalised fit; `likelihood` and the errors make the method."""
    fit, robust = found.fit, found.robust
    profile = f"{likelihood}; profile limits and tests, errors from the information"
    base = concerned(replace(base, method=profile), fit.concerns)
    if robust is None:
        rows = coefficient_rows(
            concerned(base, found.ignored), _profile_effects(found), ratio, concerns=found.broken
        )
    else:
        few = ("few_clusters",) if robust.clusters < FEW_CLUSTERS else ()
        by_cluster = replace(
            concerned(base, few), clusters=robust.clusters,
            method=f"{likelihood}; Wald limits and tests from {found.errors}",
        )  # fmt: skip
        rows = _robust_rows(by_cluster, analysis, found, ratio)
        rows = [_profiled(row, found, profile) for row in rows]
        rows += _wald_tests(by_cluster, found)
    whole = concerned(base, found.ignored)
    rows += row_of_test(whole, "penalised_likelihood_ratio", fit.likelihood_ratio)
    return rows + number_row(whole, "penalised_log_likelihood", fit.log_likelihood)


def _robust_rows(
    base: Estimate, analysis: Analysis, found: Penalised, ratio: str
) -> list[Estimate]:
    """Give Wald limits for all terms but those that separate, which keep their profiles."""
    wald = wald_effects(
        found.columns, found.fit.coefficients, np.diag(larger_errors(found.covariances) ** 2),
        confidence=analysis.confidence,
    )  # fmt: skip
    profile = _profile_effects(found)
    away = np.array([column.name in found.separated for column in found.columns])
    effects = Effects(
        columns=found.columns, estimate=wald.estimate, df=None,
        std_error=np.where(away, profile.std_error, wald.std_error),
        low=np.where(away, profile.low, wald.low),
        high=np.where(away, profile.high, wald.high),
        statistic=np.where(away, profile.statistic, wald.statistic),
        p_value=np.where(away, profile.p_value, wald.p_value),
    )  # fmt: skip
    return coefficient_rows(base, effects, ratio, concerns=found.broken)


def _profiled(row: Estimate, found: Penalised, method: str) -> Estimate:
    """Say of a term that separates that its statistic is a chi-square, and what it ignores."""
    away = {(item.term, item.level) for item in found.columns if item.name in found.separated}
    if (row.term, row.level) not in away:
        return row
    return concerned(
        replace(row, method=method, df=None if row.statistic is None else 1.0), found.ignored
    )


def _profile_effects(found: Penalised) -> Effects:
    fit = found.fit
    return Effects(
        columns=found.columns, estimate=fit.coefficients, std_error=fit.std_errors, low=fit.low,
        high=fit.high, statistic=np.array([test.statistic for test in fit.tests]), df=1.0,
        p_value=np.array([test.p_value for test in fit.tests]),
    )  # fmt: skip


def _wald_tests(base: Estimate, found: Penalised) -> list[Estimate]:
    """Test terms of several columns, and all terms, unless one of them separates."""
    if found.separated:
        return []
    beta = found.fit.coefficients
    rows = term_tests(base, found.columns, beta, *found.covariances, single=found.single)
    tested = [place for place, item in enumerate(found.columns) if item.term != INTERCEPT]
    overall = cautious_wald(beta, found.covariances, tested)
    return rows + row_of_test(base, "wald", overall)
