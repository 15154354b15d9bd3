"""Limits and test of a Cox coefficient from its profile partial likelihood."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray
from analysis.chi_square import NO_TEST, Test, chi_square_test, normal_quantile
from analysis.cox_result import CoxFit
from analysis.kernels.cox_likelihood import expected_weights, gradient, information, risk_sums
from analysis.profile import profile_limit

MOST_STEPS = 40
STEP_TOLERANCE = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True)
class CoxProfile:
    """Limits of one coefficient on the log hazard scale, and the test that it is nil."""

    low: float
    high: float
    likelihood_ratio: Test


def profile_cox(fit: CoxFit, term: str, *, confidence: float = 0.95) -> CoxProfile:
    """Profile the partial likelihood over one coefficient, all others at their best.

    Parameters
    ----------
    fit
        What ``fit_cox`` gave.
    term
        The column whose limits are wanted.

    Returns
    -------
    CoxProfile
        A limit is infinite where the profile never falls far enough; NaN where the fit holds no
        number for a term.

    Raises
    ------
    ValueError
        If `term` is no column of the fit.

    Notes
    -----
    Rows are taken as independent, whatever clusters the fit had. Where few have the event the
    limits lie further out on the far side than Wald's, and do not change with the scale of the
    effect. R has none for ``coxph``.

    References
    ----------
    .. [1] Venzon DJ, Moolgavkar SH. Applied Statistics 1988;37:87-94.
    """
    if term not in fit.names:
        raise ValueError(f"term must be one of {', '.join(fit.names)}, got {term!r}")
    root_target, place = normal_quantile(confidence), fit.names.index(term)
    if not fit.converged or fit.separated:
        return CoxProfile(low=float("nan"), high=float("nan"), likelihood_ratio=NO_TEST)
    profile, unit = _Profile(fit, place), float(fit.data.scale[place])
    reach = root_target * profile.std_error
    low, high = (
        profile_limit(
            profile.drop, profile.estimate, first_guess=profile.estimate + step,
            root_target=root_target,
        )
        for step in (-reach, reach)
    )  # fmt: skip
    fall = profile.drop(0.0)[0]
    test = chi_square_test(fall, 1)
    return CoxProfile(low=low / unit, high=high / unit, likelihood_ratio=test)


class _Profile:
    """Likelihood with one coefficient held; each climb starts on the line through the top."""

    def __init__(self, fit: CoxFit, place: int) -> None:
        self.fit, self.place = fit, place
        self.top, self.beta = fit.log_likelihood, fit.scaled_coefficients[:, 0]
        self.estimate = float(self.beta[place])
        scale = fit.data.scale
        covariance = fit.covariance_model * np.outer(scale, scale)
        self.std_error = float(np.sqrt(covariance[place, place]))
        self.slopes = covariance[:, place] / covariance[place, place]
        self.rest = np.flatnonzero(np.arange(len(scale)) != place)

    def drop(self, value: float) -> tuple[float, float]:
        """Twice the drop at `value` and its derivative; NaN where the climb failed."""
        origin = at = self.beta + self.slopes * (value - self.estimate)
        best, share, step = -np.inf, 1.0, np.zeros_like(at)
        for _ in range(MOST_STEPS):
            height, first, second = self._derivatives(at)
            if not height >= best - 1e-12 * abs(best):
                share /= 2
                at = origin + share * step
                continue
            origin, best, share = at, height, 1.0
            if len(self.rest):
                inner = second[np.ix_(self.rest, self.rest)]
                step = np.zeros_like(at)
                step[self.rest] = np.linalg.lstsq(inner, first[self.rest], rcond=None)[0]
            if float(np.abs(step).max()) <= STEP_TOLERANCE:
                return 2 * (self.top - height), -2 * float(first[self.place])
            at = origin + step
        return float("nan"), float("nan")

    def _derivatives(self, beta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        data, weights = self.fit.data, self.fit.weights_at_risk
        sums = risk_sums(data, beta[:, None], weights, self.fit.ties)
        rows = expected_weights(data, sums)
        first = gradient(data, sums, weights, row_weights=rows)[:, 0]
        return float(sums.log_likelihood[0]), first, information(data, sums, row_weights=rows)[0]
