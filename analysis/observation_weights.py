"""Weights that let stifles with a known outcome stand for those without.

Two models of being known. ``known_weights`` asks the terms alone. ``follow_up_weights`` asks
also how long a stifle had to be followed until its outcome was settled: an early event needs
little follow-up, a stifle without the event needs all of it, and only this model allows for it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import (
    BoolArray,
    FloatArray,
    column_names,
    finite_matrix,
    non_negative,
    zero_one,
)
from analysis.cox import fit_cox
from analysis.cox_baseline import expected_by_row
from analysis.cox_result import CoxFit
from analysis.firth import FirthFit, fit_firth
from analysis.kernels.logistic import fitted_risks
from analysis.logistic import LogisticFit, fit_logistic
from analysis.rank import find_redundant

RARELY_KNOWN = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ObservationWeights:
    """Weights of the known rows, the model behind them, and how uneven they are.

    A variance that takes these weights as known, clustered by animal, is a little too wide: it
    leaves out that estimating them used information [1]_.

    References
    ----------
    .. [1] Robins JM, Rotnitzky A, Zhao LP. J Am Stat Assoc 1995;90:106-121.
    """

    weights: FloatArray  # (n,), 0 where the outcome is not known
    probability: FloatArray  # (n,), of being known; NaN where not needed
    model: LogisticFit | FirthFit | CoxFit | None  # None where there was nothing to model
    left_out: tuple[str, ...]  # terms left out of the model: redundant, or without finite ratio
    n: int
    n_known: int
    largest_weight: float
    mean_weight: float
    effective_n: float  # (sum w)^2 / sum w^2
    share_rarely_known: float  # known rows whose probability is below 0.05
    concerns: tuple[str, ...]


def known_weights(
    known: npt.ArrayLike,
    x: npt.ArrayLike,
    *,
    stabilised: bool = True,
    cluster: npt.ArrayLike | None = None,
    names: Sequence[str] = (),
) -> ObservationWeights:
    """Weigh each known row by the inverse of its probability of being known, given its terms.

    Parameters
    ----------
    known
        1 where the outcome is known, shape (n,).
    x
        Terms without the intercept, shape (n, q): exposure and what predicts both outcome and
        being known. Redundant columns are left out and named: they change no probability.
    stabilised
        Multiply by the share known, so that the weights sum to about the number known. A
        constant: it changes no estimate.
    cluster
        Label of each row's cluster, for the variance of the model that is returned.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, `known` is not 0/1 or nobody is known.

    Notes
    -----
    Being known is a logistic model; where it separates (a clinic that knows all), Firth's, with
    the concern penalised. Right if, given `x`, being known does not hang on the outcome. An
    outcome by a day breaks that where events end follow-up: see ``follow_up_weights``.

    References
    ----------
    .. [1] Hernán MA, Robins JM. Causal Inference: What If. Chapman & Hall/CRC 2020, 12.2-12.6.
    """
    matrix, seen, labels = _checked(known, x, names)
    kept, left_out, labels = _needed(matrix, labels)
    if seen.all() or not kept.shape[1]:
        share = np.full(len(seen), seen.mean())
        return _weights(share, seen, None, left_out, stabilised=stabilised)
    model: LogisticFit | FirthFit = fit_logistic(kept, seen, cluster=cluster, names=labels)
    if not model.converged:
        model = fit_firth(kept, seen, names=labels, limits_for=())
    linear = model.coefficients[0] + kept @ model.coefficients[1:]
    return _weights(fitted_risks(linear), seen, model, left_out, stabilised=stabilised)


def follow_up_weights(
    day: npt.ArrayLike,
    known: npt.ArrayLike,
    x: npt.ArrayLike,
    *,
    stabilised: bool = True,
    cluster: npt.ArrayLike | None = None,
    names: Sequence[str] = (),
) -> ObservationWeights:
    """Weigh each known row by the inverse of its probability of being followed until known.

    Parameters
    ----------
    day
        Day on which the outcome was settled (event, competing event, or the day from which on
        its absence counts), or on which the row was lost, shape (n,), >= 0, whole days.
    known
        0 where the row was lost with its outcome unknown, shape (n,).
    x, stabilised, cluster, names
        As for ``known_weights``.

    Raises
    ------
    ValueError
        If shapes differ, a value is missing, a day is negative, `known` is not 0/1 or nobody is
        known.

    Notes
    -----
    Loss is the event of a Cox model (Efron ties); the probability is exp(- cumulative hazard of
    loss just before `day`): a row settled and a row lost on one day are settled first. Right if
    loss, given `x`, does not hang on the outcome to come [1]_. A term with an infinite hazard
    ratio of loss (a clinic that loses nobody) is left out and named.

    References
    ----------
    .. [1] Robins JM, Finkelstein DM. Biometrics 2000;56:779-788.
    """
    matrix, seen, labels = _checked(known, x, names)
    days = non_negative(day, "day", rows=len(seen))
    kept, left_out, labels = _needed(matrix, labels)
    if seen.all():
        return _weights(np.ones(len(seen)), seen, None, left_out, stabilised=stabilised)
    before = np.where(seen == 1, np.maximum(days - 0.5, 0.0), days)
    model, out = _loss_model(kept, before, seen, labels, cluster=cluster)
    followed = np.exp(-expected_by_row(model))
    return _weights(followed, seen, model, (*left_out, *out), stabilised=stabilised)


def _loss_model(
    x: FloatArray,
    day: FloatArray,
    seen: FloatArray,
    names: tuple[str, ...],
    *,
    cluster: npt.ArrayLike | None,
) -> tuple[CoxFit, tuple[str, ...]]:
    """Fit the hazard of loss; a term whose hazard ratio is not finite is left out and named."""
    model = fit_cox(x, day, 1 - seen, cluster=cluster, names=names, concordance=False)
    if np.isfinite(model.coefficients).all():
        return model, ()
    out = model.separated or tuple(item.name for item in model.redundant) or names
    stays = [place for place, name in enumerate(names) if name not in out]
    smaller, more = _loss_model(
        x[:, stays], day, seen, tuple(names[place] for place in stays), cluster=cluster
    )
    return smaller, (*out, *more)


def _checked(
    known: npt.ArrayLike, x: npt.ArrayLike, names: Sequence[str]
) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    matrix = finite_matrix(x, "x")
    seen = zero_one(known, "known", rows=len(matrix))
    if not seen.any():
        raise ValueError("known must be 1 in at least one row")
    return matrix, seen, column_names(names, matrix.shape[1])


def _needed(
    x: FloatArray, names: tuple[str, ...]
) -> tuple[FloatArray, tuple[str, ...], tuple[str, ...]]:
    """Keep the columns that say something of their own; also give those that do not."""
    out = tuple(item.name for item in find_redundant(x, names))
    stays = [place for place, name in enumerate(names) if name not in out]
    return x[:, stays], out, tuple(names[place] for place in stays)


def _weights(
    probability: FloatArray,
    seen: FloatArray,
    model: LogisticFit | FirthFit | CoxFit | None,
    left_out: tuple[str, ...],
    *,
    stabilised: bool,
) -> ObservationWeights:
    known: BoolArray = seen == 1
    share = float(seen.mean()) if stabilised else 1.0
    weights = np.where(known, share / probability, 0.0)
    used = weights[known]
    effective = float(used.sum() ** 2 / (used**2).sum())
    rarely = float((probability[known] < RARELY_KNOWN).mean())
    uneven = rarely > 0 or effective < used.size / 2
    penalised = isinstance(model, FirthFit)
    return ObservationWeights(
        weights=weights,
        probability=probability,
        model=model,
        left_out=left_out,
        n=len(seen),
        n_known=used.size,
        largest_weight=float(used.max()),
        mean_weight=float(used.mean()),
        effective_n=effective,
        share_rarely_known=rarely,
        concerns=(("extreme_weights",) if uneven else ()) + (("penalised",) if penalised else ()),
    )
