"""Conditional logistic regression: rows compared within matched sets, as stifles of an animal."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    FloatArray,
    IntArray,
    cluster_codes,
    column_names,
    finite_matrix,
    zero_one,
)
from analysis.cox_exact import ExactCoxFit, fit_cox_exact, no_exact_fit
from analysis.rank import find_redundant
from analysis.separation import Separated, find_separation


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ConditionalFit:
    """The fit of the sets that tell: those with an event and a row without one.

    `fit` counts their rows and events only; its coefficients are log odds ratios within a set.
    `constant` names terms that vary in no set, `separated` those without a finite estimate.
    """

    fit: ExactCoxFit
    sets: int
    telling: int
    constant: tuple[str, ...]
    separated: tuple[Separated, ...]


def fit_conditional_logistic(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    matched_set: npt.ArrayLike,
    names: Sequence[str] = (),
) -> ConditionalFit:
    """Fit a logistic model given the number of events in each set.

    Parameters
    ----------
    x
        Terms, shape (n, q); there is no intercept, each set has its own.
    y
        Outcome, 0 or 1, shape (n,).
    matched_set
        Label of each row's set, shape (n,); sets may have any number of rows and events.

    Returns
    -------
    ConditionalFit
        What is the same for all rows of a set (age of the animal, clinic) cancels out: such a
        term has no estimate and the fit says so, as it does where a term separates.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing or infinite or `y` is not 0/1.

    Notes
    -----
    The likelihood is exact (all choices of as many rows as had the event). R:
    ``survival::clogit(method = "exact")``.

    References
    ----------
    .. [1] Breslow NE, Day NE. Statistical Methods in Cancer Research I. IARC 1980, chapter 7.
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    labels = column_names(names, matrix.shape[1])
    codes = cluster_codes(np.asarray(matched_set), rows=len(matrix))[0]
    sizes, events = np.bincount(codes), np.bincount(codes, outcome)
    tells = ((events > 0) & (events < sizes))[codes]
    sets, telling = int((sizes > 0).sum()), len(np.unique(codes[tells]))
    within = _off_mean(matrix[tells], codes[tells])
    constant, separated, concerns = _obstacles(within, outcome[tells], codes[tells], labels)
    if not telling:
        concerns = ("not_identified",) if outcome.any() else ("no_events", "not_identified")
    if concerns:
        fit = no_exact_fit(labels, int(tells.sum()), int(outcome[tells].sum()), concerns)
    else:
        fit = _fit(within, outcome[tells], codes[tells], labels)
    return ConditionalFit(
        fit=fit, sets=sets, telling=telling, constant=constant, separated=separated
    )


def _off_mean(x: FloatArray, codes: IntArray) -> FloatArray:
    """Take the mean of its set off each row; what is left of rounding is nil."""
    if not len(x):
        return x
    size = np.maximum(np.bincount(codes), 1)
    means = np.column_stack([np.bincount(codes, column) / size for column in x.T])
    within = x - means[codes]
    dust = np.abs(within).max(axis=0) <= 1e-12 * np.abs(x).max(axis=0)
    return np.where(dust, 0.0, within)


def _obstacles(
    within: FloatArray, outcome: FloatArray, codes: IntArray, names: tuple[str, ...]
) -> tuple[tuple[str, ...], tuple[Separated, ...], tuple[str, ...]]:
    """Find what keeps a term from an estimate: it varies in no set, repeats another, separates."""
    redundant = find_redundant(within, names, intercept=False)
    if redundant:
        repeats = any(item.because for item in redundant)
        concerns = ("collinear", "not_identified") if repeats else ("not_identified",)
        return tuple(item.name for item in redundant if not item.because), (), concerns
    steps = _case_less_other(within, outcome, codes)
    mirrored = np.vstack([steps, -steps])  # both signs, so that no intercept can help
    signs = np.repeat([1.0, 0.0], len(steps))
    separated = find_separation(mirrored, signs, names) if len(steps) else ()
    return (), separated, ("separation", "not_identified") if separated else ()


def _case_less_other(within: FloatArray, outcome: FloatArray, codes: IntArray) -> FloatArray:
    """Give the difference of each row with the event from each without it in the same set."""
    order = np.argsort(codes, kind="stable")
    ends = np.flatnonzero(np.diff(codes[order])) + 1
    found = [np.empty((0, within.shape[1]))]
    for rows in np.split(order, ends):
        cases, others = within[rows[outcome[rows] == 1]], within[rows[outcome[rows] == 0]]
        found.append((cases[:, None, :] - others[None, :, :]).reshape(-1, within.shape[1]))
    return np.unique(np.vstack(found), axis=0)


def _fit(
    within: FloatArray, outcome: FloatArray, codes: IntArray, names: tuple[str, ...]
) -> ExactCoxFit:
    scale = np.sqrt((within**2).mean(axis=0))
    fit = fit_cox_exact(within / scale, np.ones(len(outcome)), outcome, strata=codes, names=names)
    return replace(
        fit, coefficients=fit.coefficients / scale,
        covariance=fit.covariance / np.outer(scale, scale),
    )  # fmt: skip
