"""What a model says without some of its clusters: validation by group, influence by cluster."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    finite_matrix,
    inverse,
    non_negative,
    zero_one,
)
from analysis.kernels.logistic import curvature_batch, fitted_risks
from analysis.rank import find_redundant
from analysis.refit import refit
from analysis.scaling import scaled_design

REFITTED = 25  # clusters of the largest approximate influence that are left out exactly


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeftOut:
    """Risks of each group's rows by a model that was made without that group."""

    risk: FloatArray  # (n,), NaN in a group whose model has no fit
    groups: tuple[str, ...]
    failed: tuple[str, ...]  # groups without whom the model has no fit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Influence:
    """Coefficients without one cluster at a time, those that move the asked one most first."""

    labels: tuple[str, ...]
    coefficients: FloatArray  # (clusters shown, p); NaN: no fit without it, or no such term left
    rows: IntArray  # (clusters shown,), rows of each
    n_clusters: int


def leave_groups_out(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    group: Sequence[str] | npt.NDArray[np.str_],
    *,
    weights: npt.ArrayLike | None = None,
    penalised: bool = False,
) -> LeftOut:
    """Predict every group (a clinic) by a model of the other groups: internal-external validation.

    Parameters
    ----------
    x, y, weights, penalised
        As for ``bootstrap_optimism``; `x` holds no indicator of the groups themselves.
    group
        Label of each row's group, shape (n,), two groups or more.

    Raises
    ------
    ValueError
        If there is one group only, shapes differ or a value is missing.

    References
    ----------
    .. [1] Royston P, Parmar MKB, Sylvester R. Stat Med 2004;23:907-926.
    """
    matrix = finite_matrix(x, "x")
    n = len(matrix)
    outcome = zero_one(y, "y", rows=n)
    base = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    labels = np.asarray(group)
    codes, count = cluster_codes(labels, rows=n)
    if count < 2:
        raise ValueError("one group only: nothing is left without it")
    risk, failed = np.full(n, np.nan), list[str]()
    names = [str(labels[np.flatnonzero(codes == code)[0]]) for code in range(count)]
    every = tuple(f"x{place}" for place in range(matrix.shape[1]))
    for code, name in enumerate(names):
        out, kept = codes == code, base * (codes != code)
        used = kept > 0
        beta = np.full(matrix.shape[1] + 1, np.nan)
        if used.any() and not find_redundant(matrix[used], every):
            beta = refit(matrix, outcome, kept[:, None], penalised=penalised)[:, 0]
        risk[out] = fitted_risks(beta[0] + matrix[out] @ beta[1:])
        if not np.isfinite(beta).all():
            failed.append(name)
    return LeftOut(risk=risk, groups=tuple(names), failed=tuple(failed))


def influence_by_cluster(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    cluster: Sequence[str] | npt.NDArray[np.str_],
    *,
    column: int,
    weights: npt.ArrayLike | None = None,
    penalised: bool = False,
    most: int = REFITTED,
) -> Influence:
    """Fit again without each of the clusters that move one coefficient most.

    Parameters
    ----------
    x, y, weights, penalised
        As for ``bootstrap_optimism``.
    cluster
        Label of each row's cluster (an animal, a clinic), shape (n,).
    column
        Place of the coefficient asked for, the intercept being 0.
    most
        Clusters that are left out exactly: those of the largest approximate influence (one
        Newton step, the sum of their scores over the information [1]_); all if there are fewer.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, or the model of all rows has no fit.

    References
    ----------
    .. [1] Pregibon D. Ann Stat 1981;9:705-724.
    """
    matrix = finite_matrix(x, "x")
    n = len(matrix)
    outcome = zero_one(y, "y", rows=n)
    base = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    labels = np.asarray(cluster)
    codes, count = cluster_codes(labels, rows=n)
    full = refit(matrix, outcome, base[:, None], penalised=penalised)[:, 0]
    if not np.isfinite(full).all():
        raise ValueError("the model of all rows has no fit")
    steps = _one_step(matrix, outcome, base, full)[:, column]
    size = np.abs(np.bincount(codes, steps, count))
    chosen = np.argsort(-size, kind="stable")[: min(most, count)]
    kept = base[:, None] * (codes[:, None] != chosen)
    beta = _without(matrix, outcome, kept, full, penalised=penalised)
    order = np.argsort(-np.nan_to_num(np.abs(beta[column] - full[column]), nan=np.inf),
                       kind="stable")  # fmt: skip
    first = {int(code): place for place, code in reversed(list(enumerate(codes)))}
    return Influence(
        labels=tuple(str(labels[first[int(code)]]) for code in chosen[order]),
        coefficients=beta.T[order], n_clusters=count,
        rows=np.bincount(codes[base > 0], minlength=count)[chosen[order]],
    )  # fmt: skip


def _without(
    x: FloatArray, y: FloatArray, kept: FloatArray, full: FloatArray, *, penalised: bool
) -> FloatArray:
    """Refit once a column of weights; what is constant in the rows left (a clinic's own term) goes.

    NaN for coefficients that are gone, and where there is no fit.
    """
    names = [str(place) for place in range(x.shape[1])]
    gone = [
        {int(item.name) for item in find_redundant(x[weights > 0], names)} for weights in kept.T
    ]
    whole = np.array([not places for places in gone], dtype=np.bool_)
    beta = np.full((len(full), kept.shape[1]), np.nan)
    beta[:, whole] = refit(x, y, kept[:, whole], penalised=penalised, start=full)
    for column in np.flatnonzero(~whole):
        stays = [place for place in range(x.shape[1]) if place not in gone[column]]
        some = refit(x[:, stays], y, kept[:, [column]], penalised=penalised)[:, 0]
        beta[[0, *(place + 1 for place in stays)], column] = some
    return beta


def _one_step(x: FloatArray, y: FloatArray, weights: FloatArray, beta: FloatArray) -> FloatArray:
    """Give the approximate change of the coefficients by each row, shape (n, p)."""
    z, back = scaled_design(x)
    gamma = inverse(back) @ beta
    information = curvature_batch(z, y, gamma[:, None], weights[:, None])[1][:, :, 0]
    residual = weights * (y - fitted_risks(z @ gamma))
    return (z * residual[:, None]) @ inverse(information) @ back.T
