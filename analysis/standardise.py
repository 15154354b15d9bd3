"""Absolute risks from a logistic model: everyone in one arm, then everyone in the other."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from analysis.arrays import FloatArray, finite_matrix, non_negative
from analysis.chi_square import normal_quantile
from analysis.firth import FirthFit
from analysis.kernels.logistic import fitted_risks
from analysis.logistic import LogisticFit
from analysis.two_proportions import Contrast, number_needed


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardisedRisks:
    """Risks of the same stifles in either arm, and what lies between; proportions, not per 100.

    `std_error` of the ratio is that of its log.
    """

    reference: Contrast
    exposed: Contrast
    difference: Contrast
    ratio: Contrast
    number_needed: Contrast
    n: int
    n_failed: int = 0  # bootstrap samples without a fit, left out


def standardised_risks(
    fit: LogisticFit | FirthFit,
    reference: npt.ArrayLike,
    exposed: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    confidence: float = 0.95,
) -> StandardisedRisks:
    """Standardise risks over the rows given (g-computation), with delta-method limits.

    Parameters
    ----------
    fit
        A model with its intercept first.
    reference, exposed
        Its terms with everybody set to the reference arm, and to the exposed arm: shape (n, q).
        All stifles of the cohort may stand here, also those whose outcome is not known.
    weights
        Weight of each row in the population that is standardised over, shape (n,).

    Returns
    -------
    StandardisedRisks
        Limits of a risk on the logit scale, of the difference as they are, of the ratio on the
        log scale. Where the fit holds no number, NaN and its concerns.

    Raises
    ------
    ValueError
        If the two matrices do not fit the model.

    Notes
    -----
    The covariance is that of the fit, cluster-robust where clusters were given; the terms of the
    rows are taken as fixed, as R ``marginaleffects::avg_comparisons`` does. Risks of a penalised
    fit are drawn a little towards one half.

    References
    ----------
    .. [1] Hernán MA, Robins JM. Causal Inference: What If. Chapman & Hall/CRC 2020, chapter 13.
    """
    arms = [finite_matrix(reference, "reference"), finite_matrix(exposed, "exposed")]
    n, p = len(arms[0]), len(fit.names)
    if arms[0].shape != arms[1].shape or arms[0].shape[1] != p - 1:
        shapes = " and ".join(str(arm.shape) for arm in arms)
        raise ValueError(f"reference and exposed must have shape (n, {p - 1}), got {shapes}")
    w = np.ones(n) if weights is None else non_negative(weights, "weights", rows=n)
    if not w.any():
        raise ValueError("weights must be above zero in at least one row")
    risks, gradient = _risks_and_gradient(fit.coefficients, arms, w / w.sum())
    covariance = gradient @ fit.covariance @ gradient.T
    concerns = fit.concerns
    return _contrasts(risks, covariance, (n, confidence, "delta method"), concerns)


def mean_risk(
    fit: LogisticFit | FirthFit, rows: npt.ArrayLike, *, confidence: float = 0.95
) -> Contrast:
    """Give the mean risk of some rows of the design, shape (n, q), as ``standardised_risks`` does.

    The risk of a profile is that of all rows with what it names set to its values.
    """
    matrix = finite_matrix(rows, "rows")
    weights = np.full(len(matrix), 1 / len(matrix))
    risks, gradient = _risks_and_gradient(fit.coefficients, [matrix], weights)
    risk, error = float(risks[0]), float(np.sqrt(gradient[0] @ fit.covariance @ gradient[0]))
    made = _Maker(confidence, "g-computation, delta method", fit.concerns)
    return made.contrast(
        "risk", risk, error, _logit_limits(risk, error, normal_quantile(confidence))
    )


def point_risks(
    coefficients: FloatArray, arms: tuple[FloatArray, FloatArray], weights: FloatArray
) -> FloatArray:
    """Give the mean risk in each arm for B sets of coefficients, shape (2, B).

    `coefficients` has shape (p, B), `weights` shape (n, B) with columns that sum to 1.
    """
    means = [
        (weights * fitted_risks(coefficients[0] + arm @ coefficients[1:])).sum(axis=0)
        for arm in arms
    ]
    return np.stack(means)


def with_percentile_limits(
    point: StandardisedRisks, samples: FloatArray, *, confidence: float, n_failed: int
) -> StandardisedRisks:
    """Replace errors and limits by those of bootstrap `samples` of both risks, shape (2, B)."""
    reference, exposed = samples
    tails = (1 - confidence) / 2, (1 + confidence) / 2
    concerns = ("resamples_failed",) if n_failed else ()

    def replaced(contrast: Contrast, values: FloatArray, on_log: bool) -> Contrast:
        low, high = (float(q) for q in np.quantile(values, tails))
        error = float(np.std(np.log(values) if on_log else values, ddof=1))
        return replace(
            contrast,
            std_error=error,
            low=low,
            high=high,
            confidence=confidence,
            method="cluster bootstrap, percentiles",
            concerns=(*contrast.concerns, *concerns),
        )

    difference = replaced(point.difference, exposed - reference, False)
    return StandardisedRisks(
        reference=replaced(point.reference, reference, False),
        exposed=replaced(point.exposed, exposed, False),
        difference=difference,
        ratio=replaced(point.ratio, exposed / reference, True),
        number_needed=_number_needed(difference),
        n=point.n,
        n_failed=n_failed,
    )


def _risks_and_gradient(
    beta: FloatArray, arms: list[FloatArray], weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    risks: list[float] = []
    gradients: list[FloatArray] = []
    for arm in arms:
        risk = fitted_risks(beta[0] + arm @ beta[1:])
        slope = weights * risk * (1 - risk)
        risks.append(float(weights @ risk))
        gradients.append(np.concatenate(([slope.sum()], slope @ arm)))
    return np.array(risks), np.stack(gradients)


def _contrasts(
    risks: FloatArray,
    covariance: FloatArray,
    settings: tuple[int, float, str],
    concerns: tuple[str, ...],
) -> StandardisedRisks:
    n, confidence, method = settings
    z = normal_quantile(confidence)
    made = _Maker(confidence, f"g-computation, {method}", concerns)
    errors = np.sqrt(np.diag(covariance))
    apart = np.array([-1.0, 1.0])
    gap, gap_error = float(risks[1] - risks[0]), float(np.sqrt(apart @ covariance @ apart))
    on_log = apart / risks
    log_error = float(np.sqrt(on_log @ covariance @ on_log))
    ratio, factor = float(risks[1] / risks[0]), float(np.exp(z * log_error))
    reference, exposed = (
        made.contrast("risk", float(risk), float(error), _logit_limits(risk, error, z))
        for risk, error in zip(risks, errors, strict=True)
    )
    limits = (gap - z * gap_error, gap + z * gap_error)
    difference = made.contrast("risk_difference", gap, gap_error, limits)
    return StandardisedRisks(
        reference=reference,
        exposed=exposed,
        difference=difference,
        ratio=made.contrast("risk_ratio", ratio, log_error, (ratio / factor, ratio * factor)),
        number_needed=_number_needed(difference),
        n=n,
    )


@dataclass(frozen=True, slots=True)
class _Maker:
    """What all contrasts of one standardisation have in common."""

    confidence: float
    method: str
    concerns: tuple[str, ...]

    def contrast(
        self, measure: str, estimate: float, error: float, limits: tuple[float, float]
    ) -> Contrast:
        return Contrast(
            measure=measure,
            estimate=estimate,
            std_error=error,
            low=limits[0],
            high=limits[1],
            confidence=self.confidence,
            method=self.method,
            concerns=self.concerns,
        )


def _logit_limits(risk: float, error: float, z: float) -> tuple[float, float]:
    half = z * error / (risk * (1 - risk))
    return float(expit(logit(risk) - half)), float(expit(logit(risk) + half))


def _number_needed(difference: Contrast) -> Contrast:
    needed = number_needed(difference)
    return replace(needed, concerns=(*difference.concerns, *needed.concerns))
