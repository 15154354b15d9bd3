"""Kaplan-Meier and Nelson-Aalen estimates by day, with limits and quantiles."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.arrays import FloatArray, finite_vector, non_negative, zero_one
from analysis.chi_square import normal_quantile
from analysis.kernels.risk_table import RiskTable, risk_table
from analysis.log_rank import LogRank, log_rank

__all__ = [
    "CumulativeHazard",
    "KaplanMeier",
    "LogRank",
    "Quantile",
    "kaplan_meier",
    "log_rank",
    "nelson_aalen",
    "reverse_kaplan_meier",
    "survival_limits",
]

ConfType = Literal["log-log", "log", "plain"]
ROUNDING = 1e-12  # survival this near to 0 or 1 is taken to be 0 or 1
SAME = 1.5e-8  # survival this near to a quantile counts as equal to it, as in R


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantile:
    """Day by which a share has had the event; NaN where the curve or limit does not reach it."""

    share: float
    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KaplanMeier:
    """Survival at each day on which somebody leaves; all arrays have shape (K,).

    Limits are NaN where their scale has none: before the first event on the log-log scale, and
    where survival is zero.
    """

    day: FloatArray
    estimate: FloatArray
    std_error: FloatArray  # of the estimate, by Greenwood's formula
    low: FloatArray
    high: FloatArray
    n_at_risk: FloatArray
    n_events: FloatArray
    n_censored: FloatArray
    confidence: float
    conf_type: ConfType

    def at(self, days: npt.ArrayLike) -> FloatArray:
        """Survival just after each of `days`; beyond the last day, the last value."""
        return _step(self.day, self.estimate, days, before=1.0)

    def quantile(self, share: float = 0.5) -> Quantile:
        """Day by which `share` have had the event; limits of Brookmeyer and Crowley [1]_.

        The limits are read off the pointwise limits of the curve, as R does.

        References
        ----------
        .. [1] Brookmeyer R, Crowley J. Biometrics 1982;38:29-41.
        """
        return Quantile(
            share=share,
            estimate=_first_at_or_below(self.day, self.estimate, 1 - share),
            low=_first_at_or_below(self.day, self.low, 1 - share),
            high=_first_at_or_below(self.day, self.high, 1 - share),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CumulativeHazard:
    """Nelson-Aalen estimate at each day on which somebody leaves, with Aalen's variance."""

    day: FloatArray
    estimate: FloatArray
    std_error: FloatArray


def kaplan_meier(
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    *,
    entry: npt.ArrayLike | None = None,
    conf_type: ConfType = "log-log",
    confidence: float = 0.95,
) -> KaplanMeier:
    """Estimate survival by the product limit [1]_, with Greenwood's variance.

    Parameters
    ----------
    time, event
        Day of leaving (>= 0) and whether by the event (0 or 1), shape (n,).
    entry
        Day after which a row is at risk (left truncation).
    conf_type
        Scale of the limits: "log-log" as Stata and SAS, "log" as R, "plain".

    Raises
    ------
    ValueError
        If a value is missing, an event is not 0/1, a time is negative or not after its entry,
        or there is no row.

    Notes
    -----
    Rows are taken as independent. R: ``survfit(Surv(time, event) ~ 1, conf.type = ...)``.

    References
    ----------
    .. [1] Kaplan EL, Meier P. J Am Stat Assoc 1958;53:457-481.
    """
    table = _table(time, event, entry)
    at_risk, events = table.at_risk[:, 0], table.leaving[:, 0, 1]
    hazard = np.divide(events, at_risk, out=np.zeros_like(events), where=at_risk > 0)
    survival = np.multiply.accumulate(1 - hazard)
    remaining = at_risk * (at_risk - events)
    relative = np.divide(events, remaining, out=np.zeros_like(events), where=remaining > 0)
    std_error = survival * np.sqrt(np.cumsum(relative))
    low, high = survival_limits(survival, std_error, conf_type=conf_type, confidence=confidence)
    return KaplanMeier(
        day=table.day, estimate=survival, std_error=std_error, low=low, high=high,
        n_at_risk=at_risk, n_events=events, n_censored=table.leaving[:, 0, 0],
        confidence=confidence, conf_type=conf_type,
    )  # fmt: skip


def reverse_kaplan_meier(
    time: npt.ArrayLike, event: npt.ArrayLike, *, conf_type: ConfType = "log-log"
) -> KaplanMeier:
    """Estimate how long rows were followed: being censored is the event.

    Its median is the usual summary of follow-up. Schemper M, Smith TL. Control Clin Trials
    1996;17:343-346.
    """
    happened = zero_one(event, "event")
    return kaplan_meier(time, 1 - happened, conf_type=conf_type)


def nelson_aalen(
    time: npt.ArrayLike, event: npt.ArrayLike, *, entry: npt.ArrayLike | None = None
) -> CumulativeHazard:
    """Estimate the cumulative hazard by the sum of d/n, with variance the sum of d/n^2.

    Raises
    ------
    ValueError
        As ``kaplan_meier``.

    References
    ----------
    .. [1] Aalen O. Ann Stat 1978;6:701-726.
    """
    table = _table(time, event, entry)
    at_risk, events = table.at_risk[:, 0], table.leaving[:, 0, 1]
    hazard = np.divide(events, at_risk, out=np.zeros_like(events), where=at_risk > 0)
    squared = np.divide(hazard, at_risk, out=np.zeros_like(events), where=at_risk > 0)
    return CumulativeHazard(
        day=table.day, estimate=np.cumsum(hazard), std_error=np.sqrt(np.cumsum(squared))
    )


def survival_limits(
    survival: FloatArray, std_error: FloatArray, *, conf_type: ConfType, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Limits of survival probabilities on a transformed scale; NaN where the scale has none."""
    z = normal_quantile(confidence)
    if conf_type == "plain":
        half = z * std_error
        return np.maximum(survival - half, 0.0), np.minimum(survival + half, 1.0)
    inside = (survival > ROUNDING) & ((survival < 1 - ROUNDING) | (conf_type == "log"))
    safe = np.where(inside, survival, 0.5)
    relative = std_error / safe
    if conf_type == "log":
        low, high = safe * np.exp(-z * relative), np.minimum(safe * np.exp(z * relative), 1.0)
    else:
        spread = z * relative / np.log(safe)  # negative
        low, high = safe ** np.exp(-spread), safe ** np.exp(spread)
    return np.where(inside, low, np.nan), np.where(inside, high, np.nan)


def checked_times(
    time: npt.ArrayLike, entry: npt.ArrayLike | None
) -> tuple[FloatArray, FloatArray | None]:
    """Check days of leaving and of entry.

    Raises
    ------
    ValueError
        If there is no row, a day is missing or negative, or an entry is not before its leaving.
    """
    days = non_negative(time, "time")
    if not days.size:
        raise ValueError("time must have at least one row, got none")
    if entry is None:
        return days, None
    start = finite_vector(entry, "entry", rows=len(days))
    if (start >= days).any():
        row = int(np.argmax(start >= days))
        raise ValueError(
            f"entry must be before time in every row, got {start[row]:g} and {days[row]:g} "
            f"in row {row}"
        )
    return days, start


def _table(time: npt.ArrayLike, event: npt.ArrayLike, entry: npt.ArrayLike | None) -> RiskTable:
    days, start = checked_times(time, entry)
    happened = zero_one(event, "event", rows=len(days)).astype(np.int8)
    return risk_table(days, happened, n_states=1, entry=start)


def _step(day: FloatArray, value: FloatArray, asked: npt.ArrayLike, *, before: float) -> FloatArray:
    """Read a step function that is continuous from the right."""
    place = np.searchsorted(day, np.asarray(asked, np.float64), side="right")
    return np.concatenate(([before], value))[place]


def _first_at_or_below(day: FloatArray, curve: FloatArray, level: float) -> float:
    """First day at or below a level; a step exactly at it gives the middle of the step."""
    below = np.flatnonzero(~np.isnan(curve) & (curve < level + SAME))
    if not len(below):
        return float("nan")
    first = below[0]
    lower = below[curve[below] < curve[first]]
    if abs(curve[first] - level) < SAME and len(lower):
        return float((day[first] + day[lower[0]]) / 2)
    return float(day[first])
