"""Standardised cumulative incidence: what if every row had each level of the exposure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.arrays import FloatArray
from analysis.cause_models import CauseModel, check_models
from analysis.chi_square import normal_quantile
from analysis.incidence_influence import influence_by_cluster, standardised_risks
from analysis.incidence_resampling import resample_incidence
from analysis.survival import survival_limits

__all__ = ["CauseModel", "Standardised", "StandardisedIncidence", "standardised_incidence"]

Interval = Literal["bootstrap", "jackknife"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Standardised:
    """One standardised number by one day; `std_error` of the log where it is a ratio."""

    arm: str
    reference: str | None
    day: float
    estimate: float
    std_error: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardisedIncidence:
    """Standardised risks by arm and day, and the other arms against the reference.

    A ratio is NaN where the reference has no risk.
    """

    risks: tuple[Standardised, ...]
    differences: tuple[Standardised, ...]
    ratios: tuple[Standardised, ...]
    confidence: float
    interval: Interval
    refits: int
    separated_refits: int  # a term ran to infinity: its limit is used
    failed_refits: int  # no number; left out
    n: int
    clusters: int
    concerns: tuple[str, ...]


def standardised_incidence(
    event: CauseModel,
    competing: CauseModel | None,
    *,
    days: Sequence[float],
    reference: str,
    interval: Interval = "bootstrap",
    refits: int = 500,
    seed: int = 0,
    confidence: float = 0.95,
) -> StandardisedIncidence:
    """Standardise the cumulative incidence over the rows of the fits (g-computation).

    For each level every row is given that level and keeps its other terms; the two hazards give
    its incidence, and rows are averaged.

    Parameters
    ----------
    event, competing
        Cause-specific models of the event and of all competing events pooled, fitted on the same
        rows; their terms may differ. None: nothing competes.
    days
        Days at which risks are wanted.
    reference
        Level with which the others are compared.
    interval
        "bootstrap": clusters of the fit (rows, without clusters) drawn with replacement as
        weights, both models refitted, percentile limits. "jackknife": infinitesimal jackknife by
        cluster, in closed form, without chance; limits of risks on the complementary log-log
        scale, of ratios on the log scale.
    refits, seed
        Number of bootstrap samples and their seed; samples come in chunks with a seed each.

    Raises
    ------
    ValueError
        If a fit holds no number for a term, fits or arms have other rows, or the reference is no
        arm.

    Notes
    -----
    Assumes no confounding beyond the terms, proportional hazards, independent censoring, and that
    each level was possible for every row.

    References
    ----------
    .. [1] Benichou J, Gail MH. Biometrics 1990;46:813-826.
    """
    check_models(event, competing, reference)
    asked = np.asarray(days, np.float64)
    risks = standardised_risks(event, competing, asked)
    base = list(event.arms).index(reference)
    separated = failed = 0
    if interval == "jackknife":
        influence = influence_by_cluster(event, competing, asked)
        measures = _closed_form(risks, influence, base, normal_quantile(confidence), confidence)
    else:
        drawn = resample_incidence(event, competing, days=asked, refits=refits, seed=seed)
        separated, failed = drawn.separated, drawn.failed
        measures = _percentiles(risks, drawn.values, base, confidence)
    rows = [_rows(measure, tuple(event.arms), base, asked) for measure in measures]
    drawn_refits = refits if interval == "bootstrap" else 0
    return StandardisedIncidence(
        risks=rows[0], differences=rows[1], ratios=rows[2], confidence=confidence,
        interval=interval, refits=drawn_refits, separated_refits=separated, failed_refits=failed,
        n=event.fit.n, clusters=event.fit.clusters or event.fit.n,
        concerns=("resamples_failed",) if failed else (),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Measure:
    """One kind of number for all arms and days, each array of shape (arms, days)."""

    estimate: FloatArray
    std_error: FloatArray
    low: FloatArray
    high: FloatArray
    compared: bool


def _closed_form(
    risks: FloatArray, influence: FloatArray, base: int, z: float, confidence: float
) -> tuple[_Measure, _Measure, _Measure]:
    """Numbers and limits from influences, shape (clusters, arms, days)."""

    def spread(values: FloatArray) -> FloatArray:
        return np.sqrt((values**2).sum(axis=0))

    each = spread(influence)
    high, low = survival_limits(1 - risks, each, conf_type="log-log", confidence=confidence)
    difference, between = risks - risks[base], spread(influence - influence[:, [base]])
    safe = np.where(risks > 0, risks, np.nan)
    relative = influence / safe
    log_ratio, log_spread = np.log(safe / safe[base]), spread(relative - relative[:, [base]])
    return (
        _Measure(risks, each, 1 - low, 1 - high, False),
        _Measure(difference, between, difference - z * between, difference + z * between, True),
        _Measure(np.exp(log_ratio), log_spread, np.exp(log_ratio - z * log_spread),
                 np.exp(log_ratio + z * log_spread), True),
    )  # fmt: skip


def _percentiles(
    risks: FloatArray, drawn: FloatArray, base: int, confidence: float
) -> tuple[_Measure, _Measure, _Measure]:
    """Numbers and percentile limits from samples, shape (samples, arms, days)."""
    tails = ((1 - confidence) / 2, (1 + confidence) / 2)

    def measure(estimate: FloatArray, values: FloatArray, *, compared: bool) -> _Measure:
        if len(values) < 2:
            nothing = np.full_like(estimate, np.nan)
            return _Measure(estimate, nothing, nothing, nothing, compared)
        low, high = np.quantile(values, tails, axis=0)
        return _Measure(estimate, values.std(axis=0, ddof=1), low, high, compared)

    with np.errstate(divide="ignore", invalid="ignore"):
        log_ratio = np.log(risks / risks[base])
        drawn_log = np.log(drawn / drawn[:, [base]])
        ratio = measure(log_ratio, drawn_log, compared=True)
    return (
        measure(risks, drawn, compared=False),
        measure(risks - risks[base], drawn - drawn[:, [base]], compared=True),
        _Measure(np.exp(ratio.estimate), ratio.std_error, np.exp(ratio.low), np.exp(ratio.high),
                 True),
    )  # fmt: skip


def _rows(
    measure: _Measure, arms: tuple[str, ...], base: int, days: FloatArray
) -> tuple[Standardised, ...]:
    """One row per arm and day; comparisons leave out the reference itself."""
    return tuple(
        Standardised(
            arm=name,
            reference=arms[base] if measure.compared else None,
            day=float(day),
            estimate=_number(measure.estimate[arm, place]),
            std_error=_number(measure.std_error[arm, place]),
            low=_number(measure.low[arm, place]),
            high=_number(measure.high[arm, place]),
        )
        for arm, name in enumerate(arms)
        if not (measure.compared and arm == base)
        for place, day in enumerate(days)
    )


def _number(value: float) -> float:
    """Infinity (no risk in a sample of the reference) is no number."""
    return float(value) if np.isfinite(value) else float("nan")
