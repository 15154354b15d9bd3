"""Is a hazard ratio constant over time? The score test of terms times a function of time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.arrays import FloatArray
from analysis.chi_square import NO_TEST, Test, chi_square_test
from analysis.cox_result import CoxFit
from analysis.kernels.cox_likelihood import gradient, information, risk_sums
from analysis.survival import kaplan_meier

Transform = Literal["km", "identity", "rank", "log"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PHTest:
    """Test of proportional hazards by term and for all terms together."""

    transform: Transform
    by_term: Mapping[str, Test]
    overall: Test


def proportional_hazards_test(
    fit: CoxFit,
    *,
    transform: Transform = "km",
    terms: Mapping[str, Sequence[str]] | None = None,
) -> PHTest:
    """Test each term for an interaction with time.

    Parameters
    ----------
    fit
        What ``fit_cox`` gave.
    transform
        Function of time: "km" one minus the Kaplan-Meier estimate of all rows just before the
        event, "identity" the day, "log" its logarithm, "rank" the rank of the day among all
        days of leaving.
    terms
        Columns of each term, for terms of several columns; None: each column on its own.

    Returns
    -------
    PHTest
        Score tests [1]_ at the fitted coefficients, one degree of freedom a column, as R's
        ``cox.zph`` since version 3.0 of its package (earlier versions and other programs use
        an approximation). NaN where the fit holds no number.

    Raises
    ------
    ValueError
        If a term names an unknown column, or the log of day 0 is asked for.

    References
    ----------
    .. [1] Grambsch PM, Therneau TM. Biometrika 1994;81:515-526.
    """
    asked = {name: (name,) for name in fit.names} if terms is None else terms
    unknown = [name for columns in asked.values() for name in columns if name not in fit.names]
    if unknown:
        raise ValueError(f"terms must name columns of the fit, got {unknown[0]}")
    if not fit.converged or fit.separated:
        nothing = dict.fromkeys(asked, NO_TEST)
        return PHTest(transform=transform, by_term=nothing, overall=NO_TEST)
    first, second = _derivatives(fit, _time_function(fit, transform))
    terms_count = len(fit.names)
    everything = range(terms_count)
    by_term = {
        name: _score_test(first, second, [fit.names.index(column) for column in columns])
        for name, columns in asked.items()
    }
    return PHTest(
        transform=transform, by_term=by_term, overall=_score_test(first, second, everything)
    )


def _derivatives(fit: CoxFit, g: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Score of the interactions, (p,), and information of terms and interactions, (2p, 2p)."""
    weights = fit.weights_at_risk
    sums = risk_sums(fit.data, fit.scaled_coefficients, weights, fit.ties)
    plain, once, twice = (information(fit.data, sums, g**power)[0] for power in (0, 1, 2))
    first = gradient(fit.data, sums, weights, g)[:, 0]
    return first, np.block([[plain, once], [once, twice]])


def _score_test(first: FloatArray, second: FloatArray, places: Sequence[int]) -> Test:
    """Test some interactions, all terms being in the model."""
    terms = len(first)
    kept = [*range(terms), *(terms + place for place in places)]
    score = np.concatenate((np.zeros(terms), first[list(places)]))
    try:
        solved = np.linalg.solve(second[np.ix_(kept, kept)], score)
    except np.linalg.LinAlgError:
        return NO_TEST
    return chi_square_test(float(score @ solved), len(places))


def _time_function(fit: CoxFit, transform: Transform) -> FloatArray:
    """Value of the function of time at each slot, centred on the events (that changes nothing)."""
    g = time_on_scale(fit, transform)
    return g - g[fit.data.death_slot].mean()


def time_on_scale(fit: CoxFit, transform: Transform) -> FloatArray:
    """Give the function of time at each slot, shape (K,).

    Raises
    ------
    ValueError
        If the log of day 0 is asked for.
    """
    day = fit.data.slot_day
    if transform == "identity":
        g = day.copy()
    elif transform == "log":
        if (day <= 0).any():
            raise ValueError("transform must not be log where an event is on day 0")
        g = np.log(day)
    elif transform == "rank":
        ordered = np.sort(fit.rows.time)
        low, high = (np.searchsorted(ordered, day, side=side) for side in ("left", "right"))
        g = (low + high + 1) / 2
    else:
        curve = kaplan_meier(fit.rows.time, fit.rows.event, entry=fit.rows.entry)
        survival = np.concatenate(([1.0], curve.estimate))
        g = 1 - survival[np.searchsorted(curve.day, day, side="left")]
    return g
