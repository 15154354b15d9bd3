"""Gray's test of a difference in the cumulative incidence of one cause."""

import numpy as np
import numpy.typing as npt

from analysis.arrays import cluster_codes, non_negative
from analysis.chi_square import NO_TEST, Test, chi_square_test
from analysis.incidence import checked_states
from analysis.kernels.gray import gray_stratum


def gray_test(
    time: npt.ArrayLike,
    state: npt.ArrayLike,
    group: npt.ArrayLike,
    *,
    cause: int,
    strata: npt.ArrayLike | None = None,
    rho: float = 0.0,
) -> Test:
    """Compare the cumulative incidence of one cause between groups, the others competing.

    Parameters
    ----------
    time
        Day of leaving, >= 0, shape (n,).
    state
        How the row leaves: 0 censored, 1, 2, ... the causes, shape (n,).
    group
        Label of each row's group.
    cause
        The cause of interest.
    strata
        Label of each row's stratum; scores and variances are summed over strata.
    rho
        Power of (1 - pooled incidence) that weighs the days; 0 weighs all alike.

    Returns
    -------
    Test
        Chi-square with one degree of freedom less than groups; NaN with one group or no event.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, a time is negative or a state or cause is unknown.

    Notes
    -----
    Rows are taken as independent: with several stifles of an animal the concern clusters_ignored
    goes with it. R: ``cmprsk::cuminc(...)$Tests``.

    References
    ----------
    .. [1] Gray RJ. Ann Stat 1988;16:1141-1154.
    """
    days = non_negative(time, "time")
    states = checked_states(state, rows=len(days))
    if cause < 1:
        raise ValueError(f"cause must be at least 1, got {cause}")
    groups, n_groups = cluster_codes(group, rows=len(days))
    layers, n_layers = (
        (np.zeros(len(days), dtype=np.int64), 1)
        if strata is None
        else cluster_codes(strata, rows=len(days))
    )
    if n_groups < 2 or not (states == cause).any():
        return NO_TEST
    kind = np.where(states == 0, 0, np.where(states == cause, 1, 2))
    score, variance = np.zeros(n_groups - 1), np.zeros((n_groups - 1, n_groups - 1))
    for layer in range(n_layers):
        inside = layers == layer
        own = gray_stratum(days[inside], kind[inside], groups[inside], n_groups=n_groups, rho=rho)
        score, variance = score + own[0], variance + own[1]
    if np.linalg.matrix_rank(variance) < n_groups - 1:
        return NO_TEST
    return chi_square_test(float(score @ np.linalg.solve(variance, score)), n_groups - 1)
