"""Wild bootstrap of cluster scores of a logistic model: tests and limits for few clusters."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

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
from analysis.kernels.logistic import fit_logistic_batch, fitted_risks
from analysis.rank import find_redundant
from analysis.scaling import scaled_design

Signs = Literal["rademacher", "webb"]
MOST_ENUMERATED = 12  # clusters up to which all sign vectors are gone through
DRAWS = 9_999
TIED = 1e-9  # share by which a statistic may miss the one seen and count as equal
FURTHEST = 20.0  # standard errors beyond which no limit is looked for
HALVINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class WildTerm:
    """One coefficient; limits on the log odds scale, infinite where no value is refused."""

    name: str
    statistic: float  # robust score statistic of no effect, its sign that of the score
    p_value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WildBootstrap:
    """All coefficients but the intercept, and how the signs of clusters were taken."""

    terms: tuple[WildTerm, ...]
    clusters: int
    vectors: int
    enumerated: bool


def wild_bootstrap(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    cluster: npt.ArrayLike,
    names: Sequence[str] = (),
    confidence: float = 0.95,
    signs: Signs = "rademacher",
    seed: int = 1,
) -> WildBootstrap | None:
    """Test each coefficient by its restricted scores under random signs of clusters.

    Parameters
    ----------
    x, y, cluster, names
        As in ``fit_logistic``.
    signs
        "rademacher": -1 or 1, all 2^G vectors with up to 12 clusters, else 9,999 drawn ones;
        "webb": six values, which tell more p values apart where there are very few clusters,
        always drawn.
    seed
        Of the drawn vectors.

    Returns
    -------
    WildBootstrap or None
        None where the model has no fit.

    Notes
    -----
    At the value b of the null hypothesis the other coefficients are fitted with it held [1]_. The
    scores of each cluster, less what the other coefficients explain of them (a row of the inverse
    information there), are summed: T = |sum u| / root(sum u^2). Each vector v of signs gives
    T* = |sum v u| / root(sum v^2 u^2), and p is the share of T* at least T (drawn vectors: the one
    seen counts as one of them). Limits are the values of b that a test just does not refuse.
    With G clusters and signs -1 and 1 no p is below 2^(1 - G): with five or fewer there is no 95%
    limit.

    References
    ----------
    .. [1] Kline P, Santos A. J Econometric Methods 2012;1:23-41.
    .. [2] Cameron AC, Gelbach JB, Miller DL. Rev Econ Stat 2008;90:414-427.
    .. [3] Webb MD. Can J Econ 2023;56:839-858 (six values).
    """
    matrix = finite_matrix(x, "x")
    outcome = zero_one(y, "y", rows=len(matrix))
    labels = column_names(names, matrix.shape[1])
    codes, clusters = cluster_codes(np.asarray(cluster), rows=len(matrix))
    if find_redundant(matrix, labels) or not 0 < outcome.sum() < len(outcome):
        return None
    z, back = scaled_design(matrix)
    top = fit_logistic_batch(z, outcome)
    if not top.converged[0]:
        return None
    vectors, enumerated = _vectors(clusters, signs, seed)
    terms: list[WildTerm] = []
    for place, name in enumerate(labels, start=1):
        scores = _Scores(z, outcome, codes, top.coefficients[:, 0], place)
        test = _Test(scores, vectors, enumerated)
        unit = float(back[place, place])
        low, high = (unit * test.limit(way, 1 - confidence) for way in (-1.0, 1.0))
        statistic, p_value = test.at(0.0)
        terms.append(WildTerm(name=name, statistic=statistic, p_value=p_value, low=low, high=high))
    return WildBootstrap(
        terms=tuple(terms), clusters=clusters, vectors=len(vectors), enumerated=enumerated
    )


def _vectors(clusters: int, signs: Signs, seed: int) -> tuple[FloatArray, bool]:
    if signs == "rademacher" and clusters <= MOST_ENUMERATED:
        return np.array(list(product((1.0, -1.0), repeat=clusters))), True
    values = np.array([-1.0, 1.0])
    if signs == "webb":
        values = np.sqrt([0.5, 1.0, 1.5])
        values = np.concatenate([-values, values])
    return np.random.default_rng(seed).choice(values, (DRAWS, clusters)), False


class _Scores:
    """Scores by cluster of one coefficient at a value of it, the others fitted."""

    def __init__(
        self, z: FloatArray, y: FloatArray, codes: IntArray, beta: FloatArray, place: int
    ) -> None:
        self.z, self.y, self.codes, self.place = z, y, codes, place
        self.stays = np.arange(z.shape[1]) != place
        self.others = np.asfortranarray(z[:, self.stays])
        self.start, self.middle = beta[self.stays], float(beta[place])
        self.std_error = float(np.sqrt(self._row(fitted_risks(z @ beta))[place]))

    def at(self, value: float) -> FloatArray | None:
        """Give the score of each cluster, or None where the others have no fit."""
        offset = self.z[:, self.place] * value
        held = fit_logistic_batch(self.others, self.y, start=self.start, offset=offset)
        if not held.converged[0]:
            return None
        risk = fitted_risks(self.others @ held.coefficients[:, 0] + offset)
        scores = (self.z @ self._row(risk)) * (self.y - risk)
        return np.bincount(self.codes, scores).astype(np.float64)

    def _row(self, risk: FloatArray) -> FloatArray:
        """Give the row of the inverse information that belongs to the coefficient."""
        information = self.z.T @ (self.z * (risk * (1 - risk))[:, None])
        return np.linalg.solve(information, np.eye(len(information))[self.place])


class _Test:
    """The test of one coefficient at any value, always with the same vectors."""

    def __init__(self, scores: _Scores, vectors: FloatArray, enumerated: bool) -> None:
        self.scores, self.vectors, self.enumerated = scores, vectors, enumerated

    def at(self, value: float) -> tuple[float, float]:
        """Give the statistic with its sign, and p; NaN where there is none."""
        score = self.scores.at(value)
        if score is None or not (score**2).sum() > 0:
            return float("nan"), float("nan")
        statistic = float(score.sum() / np.sqrt((score**2).sum()))
        spread = np.sqrt(self.vectors**2 @ score**2)
        drawn = np.abs(self.vectors @ score) / spread
        reached = int((drawn >= abs(statistic) * (1 - TIED)).sum())
        if self.enumerated:
            return statistic, reached / len(drawn)
        return statistic, (reached + 1) / (len(drawn) + 1)

    def limit(self, way: float, alpha: float) -> float:
        """Give the last value one way from the estimate that is not refused; maybe infinite."""
        middle, reach = self.scores.middle, self.scores.std_error
        inside, outside = middle, middle + way * reach
        while not self.at(outside)[1] < alpha:
            inside, outside = outside, outside + way * reach
            if abs(outside - middle) > FURTHEST * reach:
                return way * float("inf")
        return _halved(lambda value: self.at(value)[1] < alpha, inside, outside)


def _halved(refused: Callable[[float], bool], inside: float, outside: float) -> float:
    for _ in range(HALVINGS):
        middle = (inside + outside) / 2
        if middle in (inside, outside):
            break
        inside, outside = (inside, middle) if refused(middle) else (middle, outside)
    return inside
