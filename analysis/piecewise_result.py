"""What a piecewise-exponential fit is, in the terms as given, or why there is none."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray
from analysis.chi_square import NO_TEST, Test, chi_square_test
from analysis.fit_concerns import event_concerns
from analysis.kernels.piecewise import PieceTop
from analysis.rank import Redundant

NO_INFORMATION = 1e-9  # share of the largest root of the information
LOADED = 1e-4  # least part of a coefficient in a direction without information


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PiecewiseFit:
    """A fitted piecewise-exponential model; coefficients are log hazard ratios.

    Log rates are per day, of a row whose terms are all 0; minus infinity in a piece that holds no
    event, NaN in one in which nobody is at risk. A term that separates holds NaN and is named.
    """

    names: tuple[str, ...]  # of the terms
    edges: FloatArray  # (K + 1,), from 0 to infinity
    log_rates: FloatArray  # (K,)
    coefficients: FloatArray  # (p,)
    covariance_model: FloatArray  # (K + p, K + p), log rates first; NaN where there is no number
    covariance: FloatArray  # the sandwich by cluster where clusters were given
    log_likelihood: float  # of days
    log_likelihood_null: float  # without the terms
    likelihood_ratio: Test
    aic: float
    n: int
    events: int
    clusters: int | None
    converged: bool
    iterations: int
    separated: tuple[str, ...]
    redundant: tuple[Redundant, ...]
    concerns: tuple[str, ...]

    @property
    def terms(self) -> slice:
        """Where the terms stand in the covariances."""
        return slice(len(self.log_rates), None)

    @property
    def std_errors(self) -> FloatArray:
        """Standard errors, log rates first, cluster-robust where clusters were given."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A top in scaled terms, and what is needed to bring it back to the terms as given."""

    top: PieceTop
    weights: FloatArray
    codes: IntArray | None
    timed: BoolArray  # (K,) pieces in which somebody is at risk
    centre: FloatArray
    spread: FloatArray

    def unscaled(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Give estimates and both covariances of all pieces and terms as given.

        Directions along which the likelihood rises for ever hold no information; what they move
        is not identified, and the rest is what does not hang on them (a generalised inverse).
        """
        pieces, terms = len(self.timed), len(self.centre)
        place = np.flatnonzero(np.concatenate([self.timed, np.ones(terms, dtype=bool)]))
        back = np.eye(pieces + terms)
        back[:pieces, pieces:] = -self.centre / self.spread
        back[pieces:, pieces:] = np.diag(1 / self.spread)
        back = back[np.ix_(place, place)]
        roots, ways = np.linalg.eigh(self.top.information)
        flat = roots < NO_INFORMATION * roots[-1]
        bread = (ways[:, ~flat] / roots[~flat]) @ ways[:, ~flat].T
        away = np.abs(back @ ways[:, flat]).sum(axis=1) > LOADED
        estimate = back @ self.top.theta
        rates = np.flatnonzero(place < pieces)
        estimate[away] = np.nan
        if not away[len(rates) :].any():  # alone, without a term, a rate can only run to nothing
            estimate[rates[away[rates]]] = -np.inf
        model = back @ bread @ back.T
        robust = model if self.codes is None else self._sandwich(back @ bread)
        found, covariances = np.full(pieces + terms, np.nan), []
        found[place] = estimate
        for covariance in (model, robust):
            full = np.full((pieces + terms,) * 2, np.nan)
            held = np.flatnonzero(~away)
            full[np.ix_(place[held], place[held])] = covariance[np.ix_(held, held)]
            covariances.append(full)
        return found, covariances[0], covariances[1]

    def _sandwich(self, bread: FloatArray) -> FloatArray:
        codes = np.asarray(self.codes)
        totals = np.zeros((int(codes.max()) + 1, len(bread)))
        np.add.at(totals, codes, self.weights[:, None] * self.top.scores)
        spread = bread @ totals.T
        return spread @ spread.T


def piecewise_result(
    found: Found,
    null: PieceTop,
    *,
    counts: tuple[int, int, int | None],
    edges: FloatArray,
    names: tuple[str, ...],
) -> PiecewiseFit:
    """Make the result of the top with the terms and the one without."""
    estimate, model, robust = found.unscaled()
    pieces, top, (n, events, clusters) = len(edges) - 1, found.top, counts
    separated = tuple(name for name, value in zip(names, estimate[pieces:], strict=True)
                      if np.isnan(value))  # fmt: skip
    empty = bool(np.isneginf(estimate[:pieces]).any())
    gain = 2 * (top.value - null.value)
    return PiecewiseFit(
        names=names, edges=edges, log_rates=estimate[:pieces], coefficients=estimate[pieces:],
        covariance_model=model, covariance=robust, log_likelihood=top.value,
        log_likelihood_null=null.value,
        likelihood_ratio=chi_square_test(gain, len(names)) if names else NO_TEST,
        aic=2 * len(top.theta) - 2 * top.value, n=n, events=events, clusters=clusters,
        converged=True, iterations=top.iterations, separated=separated, redundant=(),
        concerns=(*event_concerns(events, len(names), clusters, separated),
                  *(("piece_without_events",) if empty else ())),
    )  # fmt: skip


def no_piecewise_fit(
    names: tuple[str, ...],
    edges: FloatArray,
    counts: tuple[int, int, int | None],
    redundant: tuple[Redundant, ...],
) -> PiecewiseFit:
    """Make a result without numbers that says why."""
    n, events, clusters = counts
    pieces, nan = len(edges) - 1, float("nan")
    blank = np.full((pieces + len(names),) * 2, nan)
    reason = "no_events" if not events else "collinear" if redundant else "not_converged"
    return PiecewiseFit(
        names=names, edges=edges, log_rates=np.full(pieces, nan),
        coefficients=np.full(len(names), nan), covariance_model=blank, covariance=blank,
        log_likelihood=nan, log_likelihood_null=nan, likelihood_ratio=NO_TEST, aic=nan, n=n,
        events=events, clusters=clusters, converged=False, iterations=0, separated=(),
        redundant=redundant, concerns=(reason, "not_identified"),
    )  # fmt: skip
