"""Coefficients of a model as rows: each as it is, and as a ratio, with reference levels."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, stdtr, stdtrit

from analysis.arrays import FloatArray
from analysis.chi_square import normal_quantile
from analysis.design import DesignColumn
from analysis.fit_concerns import FEW_EVENTS_PER_PARAMETER
from analysis.larger_errors import cautious_wald
from pipeline.analyses.fitted import concerned, finite, row_of_test
from shared.estimate import Estimate

__all__ = ["FEW_EVENTS_PER_PARAMETER", "Effects", "coefficient_rows", "term_tests", "wald_effects"]
INTERCEPT = "intercept"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Effects:
    """Coefficients on the log scale with limits and tests; all arrays have shape (p,)."""

    columns: tuple[DesignColumn, ...]
    estimate: FloatArray
    std_error: FloatArray
    low: FloatArray
    high: FloatArray
    statistic: FloatArray
    df: FloatArray | float | None  # one for all, or one a coefficient
    p_value: FloatArray


def wald_effects(
    columns: tuple[DesignColumn, ...],
    estimate: FloatArray,
    covariance: FloatArray,
    *,
    confidence: float,
    df: float | None = None,
) -> Effects:
    """Make effects with Wald limits and tests: the statistic is z, or t where `df` is given."""
    error = np.sqrt(np.diag(covariance))
    quantile = normal_quantile(confidence)
    if df is not None:
        quantile = float(stdtrit(df, 0.5 + confidence / 2))
    half, ratio = quantile * error, estimate / error
    tail = ndtr(-np.abs(ratio)) if df is None else stdtr(df, -np.abs(ratio))
    return Effects(
        columns=columns, estimate=estimate, std_error=error, low=estimate - half,
        high=estimate + half, statistic=ratio, df=df, p_value=2 * np.asarray(tail),
    )  # fmt: skip


def coefficient_rows(
    base: Estimate,
    effects: Effects,
    ratio: str,
    *,
    concerns: Mapping[str, tuple[str, ...]] | None = None,
) -> list[Estimate]:
    """Give ratios first, then coefficients; a reference level has a row without a number.

    `concerns` are added to the rows of single terms.
    """
    ratios: list[Estimate] = []
    coefficients: list[Estimate] = []
    for place, column in enumerate(effects.columns):
        plain = concerned(_row(base, effects, place), (concerns or {}).get(column.term, ()))
        coefficients.append(plain)
        if column.term == INTERCEPT:
            continue
        if column.reference is not None and _first_of_term(effects.columns, place):
            ratios.append(
                replace(base, measure=ratio, term=column.term, level=column.reference,
                        reference=column.reference)
            )  # fmt: skip
        ratios.append(
            replace(plain, measure=ratio, estimate=_exp(plain.estimate), low=_exp(plain.low),
                    high=_exp(plain.high))
        )  # fmt: skip
    return [*ratios, *coefficients]


def term_tests(
    base: Estimate,
    columns: Sequence[DesignColumn],
    estimate: FloatArray,
    *covariances: FloatArray,
    single: bool = False,
) -> list[Estimate]:
    """Give the joint Wald test of each term that has several columns, or of each with `single`.

    With several covariances, the more cautious test.
    """
    rows: list[Estimate] = []
    for term in dict.fromkeys(column.term for column in columns):
        places = [place for place, column in enumerate(columns) if column.term == term]
        if len(places) > 1 or (single and term != INTERCEPT):
            test = cautious_wald(estimate, covariances, places)
            rows += row_of_test(base, "wald", test, level=term)
    return rows


def _row(base: Estimate, effects: Effects, place: int) -> Estimate:
    column = effects.columns[place]
    known = np.isfinite(effects.estimate[place])
    df = effects.df[place] if isinstance(effects.df, np.ndarray) else effects.df
    return replace(
        base,
        measure="coefficient", term=column.term, level=column.level, reference=column.reference,
        unit=column.unit, estimate=finite(effects.estimate[place]),
        std_error=finite(effects.std_error[place]),
        low=finite(effects.low[place]), high=finite(effects.high[place]),
        statistic=finite(effects.statistic[place]), df=finite(df) if known else None,
        p_value=finite(effects.p_value[place]),
    )  # fmt: skip


def _first_of_term(columns: Sequence[DesignColumn], place: int) -> bool:
    return place == 0 or columns[place - 1].term != columns[place].term


def _exp(value: float | None) -> float | None:
    """Exponentiate; a ratio too large for a number is none."""
    return None if value is None or abs(value) > 700 else float(np.exp(value))
