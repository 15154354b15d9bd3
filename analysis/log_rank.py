"""Log-rank test and its weighted relatives, for any number of groups, with strata."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    labelled,
    non_negative,
    zero_one,
)
from analysis.chi_square import chi_square_test
from analysis.kernels.risk_table import RiskTable, risk_table

Weight = Literal["fleming_harrington", "gehan", "tarone_ware", "peto_peto", "peto_prentice"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogRank:
    """Weighted observed and expected events by group, and the chi-square test of no difference."""

    statistic: float
    df: int
    p_value: float
    groups: tuple[str, ...]  # in sorted order
    observed: FloatArray  # (G,) weighted
    expected: FloatArray  # (G,)
    covariance: FloatArray  # (G, G) of observed less expected


def log_rank(
    time: npt.ArrayLike,
    event: npt.ArrayLike,
    group: npt.ArrayLike,
    *,
    strata: npt.ArrayLike | None = None,
    rho: float = 0.0,
    gamma: float = 0.0,
    weight: Weight = "fleming_harrington",
) -> LogRank:
    """Compare the hazards of groups.

    Parameters
    ----------
    time, event, group
        Day of leaving (>= 0), whether by the event (0 or 1), label of the group; shape (n,).
    strata
        Label of the stratum: observed and expected are summed over strata.
    rho, gamma
        Weight S(t-)^rho (1 - S(t-))^gamma of the family of Fleming and Harrington [2]_, S being
        the Kaplan-Meier estimate of the stratum just before t: 0, 0 the log-rank test [1]_.
    weight
        "gehan" weights by the number at risk, "tarone_ware" by its root, "peto_peto" by S(t-) [3]_
        (as R with rho 1), "peto_prentice" by the product of 1 - d / (n + 1) up to and with t [4]_
        (as SAS, Stata and many textbooks, some of which call it Peto and Peto's).

    Raises
    ------
    ValueError
        If a value is missing, an event is not 0/1, a time is negative, or there is one group only.

    Notes
    -----
    Hypergeometric variance; rows are taken as independent. R: ``survdiff(..., rho = )``.

    References
    ----------
    .. [1] Mantel N. Cancer Chemother Rep 1966;50:163-170.
    .. [2] Harrington DP, Fleming TR. Biometrika 1982;69:553-566.
    .. [3] Peto R, Peto J. J R Stat Soc A 1972;135:185-207.
    .. [4] Prentice RL. Biometrika 1978;65:167-179.
    """
    days = non_negative(time, "time")
    happened = zero_one(event, "event", rows=len(days)).astype(np.int8)
    codes, labels = labelled(group, rows=len(days))
    names, n_groups = tuple(str(label) for label in labels.tolist()), len(labels)
    if n_groups < 2:
        raise ValueError(f"group must have at least two levels, got {n_groups}")
    blocks = None if strata is None else cluster_codes(strata, rows=len(days))[0]
    observed, expected = np.zeros(n_groups), np.zeros(n_groups)
    covariance = np.zeros((n_groups, n_groups))
    for table in _tables(days, happened, codes, blocks=blocks, n_groups=n_groups):
        weights = _weights(table, rho=rho, gamma=gamma, weight=weight)
        seen, awaited, spread = _compare(table, weights)
        observed, expected, covariance = observed + seen, expected + awaited, covariance + spread
    difference = (observed - expected)[:-1]
    rank = int(np.linalg.matrix_rank(covariance[:-1, :-1], hermitian=True))
    statistic = float(
        difference @ np.linalg.pinv(covariance[:-1, :-1], hermitian=True) @ difference
    )
    test = chi_square_test(statistic, rank)
    return LogRank(
        statistic=test.statistic, df=test.df, p_value=test.p_value,
        groups=names,
        observed=observed, expected=expected, covariance=covariance,
    )  # fmt: skip


def _tables(
    time: FloatArray,
    event: npt.NDArray[np.int8],
    group: IntArray,
    *,
    blocks: IntArray | None,
    n_groups: int,
) -> list[RiskTable]:
    """Count each stratum, with a column for every group."""
    out: list[RiskTable] = []
    n_blocks = 1 if blocks is None else int(blocks.max(initial=0)) + 1
    for block in range(n_blocks):
        chosen = slice(None) if blocks is None else blocks == block
        table = risk_table(time[chosen], event[chosen], n_states=1, group=group[chosen])
        lacking = n_groups - table.at_risk.shape[1]
        out.append(
            RiskTable(
                day=table.day,
                leaving=np.pad(table.leaving, ((0, 0), (0, lacking), (0, 0))),
                at_risk=np.pad(table.at_risk, ((0, 0), (0, lacking))),
            )
        )
    return out


def _weights(table: RiskTable, *, rho: float, gamma: float, weight: Weight) -> FloatArray:
    at_risk = table.at_risk.sum(axis=1)
    if weight == "gehan":
        return at_risk
    if weight == "tarone_ware":
        return np.sqrt(at_risk)
    events = table.leaving[:, :, 1].sum(axis=1)
    if weight == "peto_prentice":
        return np.cumprod(1 - events / (at_risk + 1))
    survival = np.cumprod(1 - events / at_risk)
    before = np.concatenate(([1.0], survival[:-1]))
    if weight == "peto_peto":
        return before
    return before**rho * (1 - before) ** gamma


def _compare(table: RiskTable, weights: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Observed, expected and hypergeometric covariance of one stratum, weighted."""
    events = table.leaving[:, :, 1]
    total_events, total = events.sum(axis=1), table.at_risk.sum(axis=1)
    share = table.at_risk / total[:, None]
    expected = ((weights * total_events)[:, None] * share).sum(axis=0)
    finite = np.divide(total - total_events, total - 1, out=np.zeros_like(total), where=total > 1)
    spread = weights**2 * total_events * finite
    mixed = share.T @ (share * spread[:, None])
    covariance = np.diag((share * spread[:, None]).sum(axis=0)) - mixed
    return weights @ events, expected, covariance
